"""What is measured or derived: one table of names, units and physical limits.

Names and units are those of docs/nomenclature.md. Adding a quantity starts here.
"""

from dataclasses import dataclass
from enum import StrEnum


class Quantity(StrEnum):
    """A measured or derived quantity, by the name it has on the wire and in the API."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    SUBSTRATE_MOISTURE = "substrate_moisture"
    SURFACE_TEMPERATURE = "surface_temperature"
    ILLUMINANCE = "illuminance"
    BATTERY = "battery"
    VAPOUR_PRESSURE = "vapour_pressure"
    DEW_POINT = "dew_point"
    VAPOUR_PRESSURE_DEFICIT = "vapour_pressure_deficit"
    ABSOLUTE_HUMIDITY = "absolute_humidity"
    MIXING_RATIO = "mixing_ratio"


@dataclass(frozen=True, slots=True)
class Trait:
    """What is known of a quantity before any reading arrives.

    ``lowest`` and ``highest`` bound what a working sensor can report (outside: the reading is bad);
    ``max_step`` is the largest believable change between two readings up to a minute apart
    (common practice, no source: wider than any misting or lamp does in an enclosure).
    """

    unit: str
    lowest: float
    highest: float
    max_step: float


MEASURED: dict[Quantity, Trait] = {
    Quantity.TEMPERATURE: Trait("Cel", -40.0, 85.0, 10.0),
    Quantity.HUMIDITY: Trait("%RH", 0.0, 100.0, 50.0),
    Quantity.SUBSTRATE_MOISTURE: Trait("%", 0.0, 100.0, 80.0),
    Quantity.SURFACE_TEMPERATURE: Trait("Cel", -40.0, 120.0, 30.0),
    Quantity.ILLUMINANCE: Trait("lx", 0.0, 200_000.0, 200_000.0),
    Quantity.BATTERY: Trait("%EL", 0.0, 100.0, 100.0),
}

DERIVED_UNITS: dict[Quantity, str] = {
    Quantity.VAPOUR_PRESSURE: "kPa",
    Quantity.DEW_POINT: "Cel",
    Quantity.VAPOUR_PRESSURE_DEFICIT: "kPa",
    Quantity.ABSOLUTE_HUMIDITY: "g/m3",
    Quantity.MIXING_RATIO: "g/kg",
}


def unit_of(quantity: Quantity) -> str:
    """The unit a quantity is stored and served in."""
    trait = MEASURED.get(quantity)
    return trait.unit if trait else DERIVED_UNITS[quantity]
