"""How much vapour air can hold: the saturation curves of water and ice, both ways.

Water follows region 4 of the industrial formulation of the IAPWS (release R7-97(2012), equations
29 to 31): an implicit quadratic that is solved as readily for the pressure as for the temperature,
so that a dew point needs no iteration. From 0.01 to 60 Cel it lies within 0.008 % of the scientific
formulation, IAPWS-95. Below 0 Cel, where the release ends, the same curve goes on as supercooled
water, which is what relative humidity refers to; it is within 0.3 % of other authors' at -40 Cel.

Ice follows the Magnus form that WMO-No. 8 gives, within 0.07 % of IAPWS R14-08 from -40 to 0 Cel.
"""

from typing import overload

import numpy as np

from monitor.air.elementwise import Floats, elementwise

KELVIN = 273.15

# IAPWS R7-97(2012), table 34: the coefficients n1 to n10 of equation 29, for pressures in MPa.
N1, N2 = 1167.0521452767, -724213.16703206
N3, N4, N5 = -17.073846940092, 12020.82470247, -3232555.0322333
N6, N7, N8 = 14.91510861353, -4823.2657361591, 405113.40542057
N9, N10 = -0.23855557567849, 650.17534844798
KPA_PER_MPA = 1000.0

# Magnus over ice, WMO-No. 8: kPa, dimensionless, Cel.
ICE_AT_ZERO, ICE_A, ICE_B = 0.6112, 22.46, 272.62


@overload
def saturation_vapour_pressure(temperature: float) -> float: ...
@overload
def saturation_vapour_pressure(temperature: Floats) -> Floats: ...
@elementwise
def saturation_vapour_pressure(temperature: Floats) -> Floats:
    """Saturation vapour pressure over liquid water.

    Args:
        temperature: Cel, -40 to 60.

    Returns:
        kPa. Pure water, no enhancement by the air.

    Source: IAPWS R7-97(2012) equation 30.
    """
    *_, beta = _on_the_curve(temperature)
    square = beta * beta
    return KPA_PER_MPA * square * square


@overload
def saturation_slope(temperature: float) -> float: ...
@overload
def saturation_slope(temperature: Floats) -> Floats: ...
@elementwise
def saturation_slope(temperature: Floats) -> Floats:
    """Slope of the saturation curve over liquid water, d e_s / d T.

    Args:
        temperature: Cel, -40 to 60.

    Returns:
        kPa/K.

    Source: IAPWS R7-97(2012) equation 29, differentiated.
    """
    theta, a, b, beta = _on_the_curve(temperature)
    by_theta = ((2.0 * theta + N1) * beta + 2.0 * N3 * theta + N4) * beta + 2.0 * N6 * theta + N7
    by_beta = 2.0 * a * beta + b
    theta_slope = 1.0 - N9 / (temperature + KELVIN - N10) ** 2
    return -4.0 * KPA_PER_MPA * beta * beta * beta * by_theta / by_beta * theta_slope


@overload
def dew_point_from_vapour_pressure(vapour_pressure: float) -> float: ...
@overload
def dew_point_from_vapour_pressure(vapour_pressure: Floats) -> Floats: ...
@elementwise
def dew_point_from_vapour_pressure(vapour_pressure: Floats) -> Floats:
    """Temperature at which liquid water is in balance with this vapour pressure.

    The inverse of :func:`saturation_vapour_pressure`, to 1e-8 K.

    Args:
        vapour_pressure: kPa, 0.019 to 20 (dew points of -40 to 60 Cel).

    Returns:
        Cel; NaN where there is no vapour (0 kPa or less).

    Source: IAPWS R7-97(2012) equation 31.
    """
    beta = np.sqrt(np.sqrt(np.where(vapour_pressure > 0.0, vapour_pressure, np.nan) / KPA_PER_MPA))
    e = (beta + N3) * beta + N6
    f = (N1 * beta + N4) * beta + N7
    g = (N2 * beta + N5) * beta + N8
    theta = -2.0 * g / (f + np.sqrt(f * f - 4.0 * e * g))
    total = N10 + theta
    return (total - np.sqrt(total * total - 4.0 * (N9 + N10 * theta))) / 2.0 - KELVIN


@overload
def saturation_vapour_pressure_over_ice(temperature: float) -> float: ...
@overload
def saturation_vapour_pressure_over_ice(temperature: Floats) -> Floats: ...
@elementwise
def saturation_vapour_pressure_over_ice(temperature: Floats) -> Floats:
    """Saturation vapour pressure over ice.

    Args:
        temperature: Cel, -40 to 0.

    Returns:
        kPa; NaN above 0 Cel, where there is no ice.

    Source: Magnus form of WMO-No. 8.
    """
    frozen = np.where(temperature <= 0.0, temperature, np.nan)
    return ICE_AT_ZERO * np.exp(ICE_A * frozen / (ICE_B + frozen))


@overload
def frost_point_from_vapour_pressure(vapour_pressure: float) -> float: ...
@overload
def frost_point_from_vapour_pressure(vapour_pressure: Floats) -> Floats: ...
@elementwise
def frost_point_from_vapour_pressure(vapour_pressure: Floats) -> Floats:
    """Temperature at which ice is in balance with this vapour pressure.

    Args:
        vapour_pressure: kPa, 0.013 to 0.611 (frost points of -40 to 0 Cel).

    Returns:
        Cel; NaN where there is no vapour, and where the air would give dew before frost.

    Source: Magnus form of WMO-No. 8, solved for the temperature.
    """
    frosts = (vapour_pressure > 0.0) & (vapour_pressure <= ICE_AT_ZERO)
    exponent = np.log(np.where(frosts, vapour_pressure, np.nan) / ICE_AT_ZERO)
    return ICE_B * exponent / (ICE_A - exponent)


def _on_the_curve(temperature: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Solve the release's equation 29, ``a beta^2 + b beta + c = 0``, for ``beta``.

    Returns ``theta`` (the release's transformed temperature, K), ``a``, ``b`` and ``beta`` (the
    fourth root of the pressure in MPa).
    """
    kelvin = temperature + KELVIN
    theta = kelvin + N9 / (kelvin - N10)
    a = (theta + N1) * theta + N2
    b = (N3 * theta + N4) * theta + N5
    c = (N6 * theta + N7) * theta + N8
    return theta, a, b, 2.0 * c / (np.sqrt(b * b - 4.0 * a * c) - b)
