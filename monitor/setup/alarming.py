"""When a crossed limit becomes an alarm, and when the alarm is over: deadbands and delays."""

from pydantic import Field

from monitor.quantities import Quantity
from monitor.setup.models import Model


class AlarmSettings(Model):
    """Deadbands and delays of all climate alarms; docs/alarms.md tells where the defaults are from.

    Raising the on-delay spares notifications on quiet days and costs as much time in a true crash.
    """

    deadband_temperature_k: float = Field(default=0.5, ge=0, le=20)
    """How far inside its limit a temperature must come back to clear its alarm, K."""
    deadband_humidity_pct: float = Field(default=2.0, ge=0, le=50)
    """How far inside its limit the relative humidity must come back to clear its alarm, %RH."""
    deadband_substrate_moisture_pct: float = Field(default=3.0, ge=0, le=50)
    """How far inside its limit the substrate moisture must come back to clear its alarm, %."""
    on_delay_s: float = Field(default=1200, ge=0, le=86_400)
    """How long a value must stay beyond a day or night range before the alarm is raised, s."""
    critical_on_delay_s: float = Field(default=180, ge=0, le=86_400)
    """How long a value must stay beyond a critical limit before the alarm is raised, s."""
    off_delay_s: float = Field(default=300, ge=0, le=86_400)
    """How long a value must stay back inside, by the deadband, before the alarm is over, s."""

    def deadband(self, quantity: Quantity) -> float:
        """The deadband of a quantity that has limits, in its own unit (a kelvin is a Cel wide)."""
        return {
            Quantity.TEMPERATURE: self.deadband_temperature_k,
            Quantity.SURFACE_TEMPERATURE: self.deadband_temperature_k,
            Quantity.HUMIDITY: self.deadband_humidity_pct,
            Quantity.SUBSTRATE_MOISTURE: self.deadband_substrate_moisture_pct,
        }[quantity]
