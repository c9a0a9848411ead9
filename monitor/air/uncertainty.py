"""What a sensor's uncertainty leaves of a dew point or a deficit.

First-order propagation, GUM (JCGM 100:2008) equation 10: the errors of temperature and humidity
are taken as independent and small. Uncertainties in and out are standard ones (one sigma);
twice that covers about 95 %.
"""

import math
from typing import overload

import numpy as np

from monitor.air.dew import dew_point
from monitor.air.elementwise import Floats, Values, elementwise
from monitor.air.saturation import saturation_slope, saturation_vapour_pressure


def standard_uncertainty(limit: float) -> float:
    """Standard uncertainty of a value known only to lie within plus or minus ``limit``.

    That is what most data sheets of sensors state; every value within is taken as equally likely
    (JCGM 100:2008, 4.3.7).
    """
    return limit / math.sqrt(3.0)


@overload
def dew_point_uncertainty(
    temperature: float, humidity: float, u_temperature: float, u_humidity: float
) -> float: ...
@overload
def dew_point_uncertainty(
    temperature: Floats, humidity: Values, u_temperature: Values, u_humidity: Values
) -> Floats: ...
@overload
def dew_point_uncertainty(
    temperature: Values, humidity: Floats, u_temperature: Values, u_humidity: Values
) -> Floats: ...
@elementwise
def dew_point_uncertainty(
    temperature: Floats, humidity: Floats, u_temperature: Floats, u_humidity: Floats
) -> Floats:
    """Standard uncertainty of the dew point, K.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH; NaN comes back at 0 (or less), where there is no dew point.
        u_temperature: standard uncertainty of the temperature, K.
        u_humidity: standard uncertainty of the humidity, %RH.
    """
    slope_at_dew_point = saturation_slope(dew_point(temperature, humidity))
    by_temperature = saturation_slope(temperature) * humidity / 100.0 / slope_at_dew_point
    by_humidity = saturation_vapour_pressure(temperature) / 100.0 / slope_at_dew_point
    return np.hypot(by_temperature * u_temperature, by_humidity * u_humidity)


@overload
def vapour_pressure_deficit_uncertainty(
    temperature: float, humidity: float, u_temperature: float, u_humidity: float
) -> float: ...
@overload
def vapour_pressure_deficit_uncertainty(
    temperature: Floats, humidity: Values, u_temperature: Values, u_humidity: Values
) -> Floats: ...
@overload
def vapour_pressure_deficit_uncertainty(
    temperature: Values, humidity: Floats, u_temperature: Values, u_humidity: Values
) -> Floats: ...
@elementwise
def vapour_pressure_deficit_uncertainty(
    temperature: Floats, humidity: Floats, u_temperature: Floats, u_humidity: Floats
) -> Floats:
    """Standard uncertainty of the vapour pressure deficit, kPa.

    Near saturation it is as large as the deficit itself: judge there by dew point or humidity.

    Args:
        temperature: Cel, -40 to 60.
        humidity: %RH.
        u_temperature: standard uncertainty of the temperature, K.
        u_humidity: standard uncertainty of the humidity, %RH.
    """
    by_temperature = saturation_slope(temperature) * (1.0 - humidity / 100.0)
    by_humidity = saturation_vapour_pressure(temperature) / 100.0
    return np.hypot(by_temperature * u_temperature, by_humidity * u_humidity)
