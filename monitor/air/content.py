"""How much water the air holds: per volume of air, and per mass of dry air.

To compare two bodies of air that differ in temperature take the mixing ratio or the vapour
pressure: grams per cubic metre fall by about 1 % for 3 K of warming though no water has left.
"""

from typing import overload

from monitor.air.elementwise import Floats, Values, elementwise
from monitor.air.moisture import relative_humidity, vapour_pressure
from monitor.air.saturation import KELVIN

STANDARD_PRESSURE = 101.325
"""Pressure of the standard atmosphere at sea level, kPa."""

VAPOUR_GAS_CONSTANT = 461.523
"""Specific gas constant of water vapour, J/(kg K): 8.314 462 618 / 0.018 015 268."""

MASS_RATIO = 0.621945
"""Molar mass of water over that of dry air (ASHRAE Handbook Fundamentals, chapter 1)."""

G_PER_M3 = 1e6 / VAPOUR_GAS_CONSTANT  # of vapour, times kPa and per K
G_PER_KG = 1000.0 * MASS_RATIO


@overload
def absolute_humidity(temperature: float, humidity: float) -> float: ...
@overload
def absolute_humidity(temperature: Floats, humidity: Values) -> Floats: ...
@overload
def absolute_humidity(temperature: Values, humidity: Floats) -> Floats: ...
@elementwise
def absolute_humidity(temperature: Floats, humidity: Floats) -> Floats:
    """Mass of water vapour in a volume of air, g/m3.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH.

    Source: ideal gas law.
    """
    return G_PER_M3 * vapour_pressure(temperature, humidity) / (temperature + KELVIN)


@overload
def relative_humidity_from_absolute_humidity(
    temperature: float, absolute_humidity: float
) -> float: ...
@overload
def relative_humidity_from_absolute_humidity(
    temperature: Floats, absolute_humidity: Values
) -> Floats: ...
@overload
def relative_humidity_from_absolute_humidity(
    temperature: Values, absolute_humidity: Floats
) -> Floats: ...
@elementwise
def relative_humidity_from_absolute_humidity(
    temperature: Floats, absolute_humidity: Floats
) -> Floats:
    """Relative humidity of air at ``temperature`` that holds so much vapour, %RH.

    Args:
        temperature: Cel, -40 to 60.
        absolute_humidity: g/m3.
    """
    return relative_humidity(temperature, absolute_humidity * (temperature + KELVIN) / G_PER_M3)


@overload
def mixing_ratio(
    temperature: float, humidity: float, pressure: float = STANDARD_PRESSURE
) -> float: ...
@overload
def mixing_ratio(
    temperature: Floats, humidity: Values, pressure: Values = STANDARD_PRESSURE
) -> Floats: ...
@overload
def mixing_ratio(
    temperature: Values, humidity: Floats, pressure: Values = STANDARD_PRESSURE
) -> Floats: ...
@elementwise
def mixing_ratio(
    temperature: Floats, humidity: Floats, pressure: Values = STANDARD_PRESSURE
) -> Floats:
    """Mass of water vapour for each mass of dry air, g/kg.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH.
        pressure: of the air, kPa; it must exceed the vapour pressure.

    Source: ASHRAE Handbook Fundamentals, chapter 1 (humidity ratio).
    """
    vapour = vapour_pressure(temperature, humidity)
    return G_PER_KG * vapour / (pressure - vapour)


@overload
def relative_humidity_from_mixing_ratio(
    temperature: float, mixing_ratio: float, pressure: float = STANDARD_PRESSURE
) -> float: ...
@overload
def relative_humidity_from_mixing_ratio(
    temperature: Floats, mixing_ratio: Values, pressure: Values = STANDARD_PRESSURE
) -> Floats: ...
@overload
def relative_humidity_from_mixing_ratio(
    temperature: Values, mixing_ratio: Floats, pressure: Values = STANDARD_PRESSURE
) -> Floats: ...
@elementwise
def relative_humidity_from_mixing_ratio(
    temperature: Floats, mixing_ratio: Floats, pressure: Values = STANDARD_PRESSURE
) -> Floats:
    """Relative humidity of air at ``temperature`` with this mixing ratio, %RH.

    Args:
        temperature: Cel, -40 to 60.
        mixing_ratio: g/kg.
        pressure: of the air, kPa.
    """
    return relative_humidity(temperature, pressure * mixing_ratio / (G_PER_KG + mixing_ratio))
