"""Where the air's water settles: dew point, frost point, and which of the two words is right."""

from typing import Literal, overload

from monitor.air.elementwise import Floats, Values, elementwise
from monitor.air.moisture import relative_humidity, vapour_pressure
from monitor.air.saturation import (
    dew_point_from_vapour_pressure,
    frost_point_from_vapour_pressure,
    saturation_vapour_pressure,
)


@overload
def dew_point(temperature: float, humidity: float) -> float: ...
@overload
def dew_point(temperature: Floats, humidity: Values) -> Floats: ...
@overload
def dew_point(temperature: Values, humidity: Floats) -> Floats: ...
@elementwise
def dew_point(temperature: Floats, humidity: Floats) -> Floats:
    """Temperature to which the air must cool to be saturated over liquid water, Cel.

    Below 0 Cel it stays a dew point (supercooled water), as most instruments and programs have
    it; what settles on a surface there is frost, somewhat earlier: see :func:`frost_point`.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH; at 0 (or less) there is no vapour and no dew point: NaN.
    """
    return dew_point_from_vapour_pressure(vapour_pressure(temperature, humidity))


@overload
def frost_point(temperature: float, humidity: float) -> float: ...
@overload
def frost_point(temperature: Floats, humidity: Values) -> Floats: ...
@overload
def frost_point(temperature: Values, humidity: Floats) -> Floats: ...
@elementwise
def frost_point(temperature: Floats, humidity: Floats) -> Floats:
    """Temperature to which the air must cool to be saturated over ice, Cel.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH over liquid water.

    Returns:
        0 or below, and at or above the dew point; NaN where the dew point is above 0 Cel (dew comes
        first) and where there is no vapour.
    """
    return frost_point_from_vapour_pressure(vapour_pressure(temperature, humidity))


@overload
def relative_humidity_from_dew_point(temperature: float, dew_point: float) -> float: ...
@overload
def relative_humidity_from_dew_point(temperature: Floats, dew_point: Values) -> Floats: ...
@overload
def relative_humidity_from_dew_point(temperature: Values, dew_point: Floats) -> Floats: ...
@elementwise
def relative_humidity_from_dew_point(temperature: Floats, dew_point: Floats) -> Floats:
    """Relative humidity of air at ``temperature`` with this dew point, %RH.

    Args:
        temperature: Cel, -40 to 60.
        dew_point: over liquid water, Cel, -40 to 60.
    """
    return relative_humidity(temperature, saturation_vapour_pressure(dew_point))


def condensation(dew_point: float) -> Literal["dew", "frost"]:
    """The word for what settles on a surface that cools to the dew (or frost) point.

    Args:
        dew_point: over liquid water, Cel.
    """
    return "frost" if dew_point < 0.0 else "dew"
