"""Wet-bulb temperature: how far water that evaporates into the air can cool."""

from typing import overload

from monitor.air.content import MASS_RATIO, STANDARD_PRESSURE, mixing_ratio
from monitor.air.elementwise import Floats, Values, elementwise
from monitor.air.saturation import saturation_slope, saturation_vapour_pressure

# ASHRAE Handbook Fundamentals, chapter 1, equation 33: the heat that evaporates water at 0 Cel
# (kJ/kg) and how it falls with the bulb's temperature; heat capacities of dry air and of vapour
# (kJ/(kg K)).
EVAPORATION, EVAPORATION_FALL = 2501.0, 2.326
DRY_AIR, VAPOUR = 1.006, 1.86

NEWTON_STEPS = 6


@overload
def wet_bulb(temperature: float, humidity: float, pressure: float = STANDARD_PRESSURE) -> float: ...
@overload
def wet_bulb(
    temperature: Floats, humidity: Values, pressure: Values = STANDARD_PRESSURE
) -> Floats: ...
@overload
def wet_bulb(
    temperature: Values, humidity: Floats, pressure: Values = STANDARD_PRESSURE
) -> Floats: ...
@elementwise
def wet_bulb(temperature: Floats, humidity: Floats, pressure: Values = STANDARD_PRESSURE) -> Floats:
    """Thermodynamic wet-bulb temperature, Cel.

    The wick stays liquid below 0 Cel (no ice bulb).

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH.
        pressure: of the air, kPa, 70 to 110.

    Source: ASHRAE Handbook Fundamentals, chapter 1, equation 33.
    """
    held = mixing_ratio(temperature, humidity, pressure) / 1000.0
    capacity = DRY_AIR + VAPOUR * held
    bulb = temperature
    # Equation 33 says that the heat for evaporating into the air at the bulb, up to saturation,
    # is what the air gives off in cooling to the bulb. The difference rises with the bulb's
    # temperature and curves upwards throughout, as the saturation curve does. So Newton's method,
    # started at the air's temperature, comes down on the root from above and cannot overshoot;
    # six steps end within 1e-7 K of it over the whole range.
    for _ in range(NEWTON_STEPS):
        saturated = saturation_vapour_pressure(bulb)
        dry = pressure - saturated
        uptake = MASS_RATIO * saturated / dry - held
        uptake_slope = MASS_RATIO * pressure * saturation_slope(bulb) / (dry * dry)
        heat = EVAPORATION - EVAPORATION_FALL * bulb
        surplus = heat * uptake - capacity * (temperature - bulb)
        slope = heat * uptake_slope - EVAPORATION_FALL * uptake + capacity
        bulb = bulb - surplus / slope
    return bulb
