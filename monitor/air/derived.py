"""All derived columns of a batch of readings at once, with one look at the saturation curve."""

from typing import NamedTuple

import numpy as np

from monitor.air.content import G_PER_KG, G_PER_M3, STANDARD_PRESSURE
from monitor.air.elementwise import Floats
from monitor.air.saturation import (
    KELVIN,
    dew_point_from_vapour_pressure,
    saturation_vapour_pressure,
)


class Derived(NamedTuple):
    """What follows from temperature and humidity; the fields bear the names of the quantities."""

    vapour_pressure: Floats
    dew_point: Floats
    vapour_pressure_deficit: Floats
    absolute_humidity: Floats
    mixing_ratio: Floats


def derive(temperature: Floats, humidity: Floats, pressure: float = STANDARD_PRESSURE) -> Derived:
    """Every derived quantity of readings of one air, as the single functions would give them.

    Args:
        temperature: Cel, -40 to 60; any shape.
        humidity: %RH, of the same shape.
        pressure: of the air, kPa.

    Returns:
        Columns of that shape: kPa, Cel, kPa, g/m3, g/kg. NaN where a reading is NaN; the dew point
        also where the humidity is 0.
    """
    saturated = saturation_vapour_pressure(temperature)
    vapour = saturated * humidity / 100.0
    with np.errstate(all="ignore"):
        return Derived(
            vapour_pressure=vapour,
            dew_point=dew_point_from_vapour_pressure(vapour),
            vapour_pressure_deficit=saturated - vapour,
            absolute_humidity=G_PER_M3 * vapour / (temperature + KELVIN),
            mixing_ratio=G_PER_KG * vapour / (pressure - vapour),
        )
