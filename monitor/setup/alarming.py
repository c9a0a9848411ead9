"""When a crossed limit becomes an alarm, and when the alarm is over: deadbands and delays."""

from pydantic import Field

from monitor.quantities import Quantity
from monitor.setup.models import Model
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS

# Measures of alarm management; docs/alarms.md tells where each is from.
FLOOD_MS = 10 * MINUTE_MS
"""Alarms are counted over so long to tell a flood."""
STALE_MS = DAY_MS
"""What has stood for longer is stale."""
CHATTERING = 3
"""So many raisings of one point within ``CHATTERING_MS`` are chattering."""
CHATTERING_MS = 2 * HOUR_MS


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
    broker_on_delay_s: float = Field(default=300, ge=0, le=86_400)
    """How long there must be no connection to the broker before the alarm is raised, s."""
    longest_quiet_s: float = Field(default=86_400, ge=60, le=604_800)
    """How long a keeper may shelve an alarm, or say that maintenance or an open lid lasts, s."""
    lid_settle_s: float = Field(default=1800, ge=0, le=86_400)
    """How long an open lid, and then the time after it, excuse an alarm of the range, s."""
    misting_settle_s: float = Field(default=3600, ge=0, le=86_400)
    """How long after a misting the humidity may be above its range without an alarm, s."""
    flood_alarms: int = Field(default=10, ge=2, le=1000)
    """More alarms than this within 10 min are a flood: those alike become one call."""

    def deadband(self, quantity: Quantity) -> float:
        """The deadband of a quantity that has limits, in its own unit (a kelvin is a Cel wide)."""
        return {
            Quantity.TEMPERATURE: self.deadband_temperature_k,
            Quantity.SURFACE_TEMPERATURE: self.deadband_temperature_k,
            Quantity.HUMIDITY: self.deadband_humidity_pct,
            Quantity.SUBSTRATE_MOISTURE: self.deadband_substrate_moisture_pct,
        }[quantity]
