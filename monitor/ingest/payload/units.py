"""Which SenML units each quantity may come in, and what they are in ours.

Units of RFC 8428 and of its registry as extended by RFC 8798. One reading departs from the
registry: there ``%`` is an old name for ``/`` (a ratio), but whoever writes it means hundredths, as
our own unit of substrate moisture does.
"""

from collections.abc import Callable

from monitor.ingest.payload.decoded import shown
from monitor.quantities import MEASURED, Quantity

Conversion = Callable[[float], float]


def _same(value: float) -> float:
    return value


# Converted values are rounded to what no sensor resolves: 296.55 K is 23.4 Cel, not
# 23.400000000000034, which would be stored in twice the space and read as if it meant something.
def _from_kelvin(value: float) -> float:
    return round(value - 273.15, 3)


def _from_ratio(value: float) -> float:
    return round(value * 100.0, 3)


UNITS: dict[Quantity, dict[str, Conversion]] = {
    Quantity.TEMPERATURE: {"Cel": _same, "K": _from_kelvin},
    Quantity.HUMIDITY: {"%RH": _same, "%": _same, "/100": _same, "/": _from_ratio},
    Quantity.SUBSTRATE_MOISTURE: {"%": _same, "/100": _same, "/": _from_ratio},
    Quantity.SURFACE_TEMPERATURE: {"Cel": _same, "K": _from_kelvin},
    Quantity.ILLUMINANCE: {"lx": _same},
    Quantity.BATTERY: {"%EL": _same, "%": _same, "/100": _same, "/": _from_ratio},
}


def wrong_unit(quantity: Quantity, unit: str) -> str:
    """Why ``unit`` cannot be a unit of ``quantity``, and what would be right."""
    right = " or ".join(UNITS[quantity])
    if unit == "F" and MEASURED[quantity].unit == "Cel":
        return f"is in F, which is farad in SenML; convert Fahrenheit to {right}"
    return f"is in {shown(unit)}; {right} would be right"
