"""Vapour pressure, relative humidity and what is missing to saturation.

Relative humidity is always over liquid water, as sensors report it, below 0 Cel too. Air is an
ideal mixture here: vapour pressures carry no enhancement factor (docs/nomenclature.md).
"""

from typing import overload

from monitor.air.elementwise import Floats, Values, elementwise
from monitor.air.saturation import saturation_vapour_pressure


@overload
def vapour_pressure(temperature: float, humidity: float) -> float: ...
@overload
def vapour_pressure(temperature: Floats, humidity: Values) -> Floats: ...
@overload
def vapour_pressure(temperature: Values, humidity: Floats) -> Floats: ...
@elementwise
def vapour_pressure(temperature: Floats, humidity: Floats) -> Floats:
    """Partial pressure of water vapour, kPa.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH.

    Source: the definition of relative humidity, WMO-No. 8.
    """
    return saturation_vapour_pressure(temperature) * humidity / 100.0


@overload
def relative_humidity(temperature: float, vapour_pressure: float) -> float: ...
@overload
def relative_humidity(temperature: Floats, vapour_pressure: Values) -> Floats: ...
@overload
def relative_humidity(temperature: Values, vapour_pressure: Floats) -> Floats: ...
@elementwise
def relative_humidity(temperature: Floats, vapour_pressure: Floats) -> Floats:
    """Relative humidity of air at ``temperature`` that holds ``vapour_pressure``, %RH.

    Above 100 where the air could not hold that much; nothing is clipped.

    Args:
        temperature: Cel, -40 to 60.
        vapour_pressure: kPa.
    """
    return 100.0 * vapour_pressure / saturation_vapour_pressure(temperature)


@overload
def vapour_pressure_deficit(temperature: float, humidity: float) -> float: ...
@overload
def vapour_pressure_deficit(temperature: Floats, humidity: Values) -> Floats: ...
@overload
def vapour_pressure_deficit(temperature: Values, humidity: Floats) -> Floats: ...
@elementwise
def vapour_pressure_deficit(temperature: Floats, humidity: Floats) -> Floats:
    """Vapour pressure the air lacks to saturation, kPa.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH; above 100 the deficit is negative.
    """
    return saturation_vapour_pressure(temperature) * (1.0 - humidity / 100.0)


@overload
def leaf_vapour_pressure_deficit(
    temperature: float, humidity: float, leaf_temperature: float
) -> float: ...
@overload
def leaf_vapour_pressure_deficit(
    temperature: Floats, humidity: Values, leaf_temperature: Values
) -> Floats: ...
@overload
def leaf_vapour_pressure_deficit(
    temperature: Values, humidity: Floats, leaf_temperature: Values
) -> Floats: ...
@overload
def leaf_vapour_pressure_deficit(
    temperature: Values, humidity: Values, leaf_temperature: Floats
) -> Floats: ...
@elementwise
def leaf_vapour_pressure_deficit(
    temperature: Floats, humidity: Floats, leaf_temperature: Floats
) -> Floats:
    """Vapour pressure between the wet inside of a leaf and the air around it, kPa.

    Negative where the leaf is below the dew point, so that water settles on it.

    Args:
        temperature: of the air, Cel, -40 to 60.
        humidity: of the air, %RH.
        leaf_temperature: Cel, -40 to 60.
    """
    return saturation_vapour_pressure(leaf_temperature) - vapour_pressure(temperature, humidity)
