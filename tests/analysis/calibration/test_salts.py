"""Fixed points against published values."""

import math

import pytest

from monitor.analysis.calibration.salts import fixed_point, sensitivity
from monitor.setup.calibration import Salt

TEMPERATURES = (15.0, 20.0, 25.0, 30.0)

GREENSPAN = {
    Salt.LITHIUM_CHLORIDE: ((11.30, 0.35), (11.31, 0.31), (11.30, 0.27), (11.28, 0.24)),
    Salt.MAGNESIUM_CHLORIDE: ((33.30, 0.21), (33.07, 0.18), (32.78, 0.16), (32.44, 0.14)),
    Salt.POTASSIUM_CARBONATE: ((43.15, 0.33), (43.16, 0.33), (43.16, 0.39), (43.17, 0.50)),
    Salt.SODIUM_CHLORIDE: ((75.61, 0.18), (75.47, 0.14), (75.29, 0.12), (75.09, 0.11)),
    Salt.POTASSIUM_CHLORIDE: ((85.92, 0.33), (85.11, 0.29), (84.34, 0.26), (83.62, 0.25)),
    Salt.POTASSIUM_SULFATE: ((97.89, 0.63), (97.59, 0.53), (97.30, 0.45), (97.00, 0.40)),
}
"""Greenspan 1977, table 2, %RH and its uncertainty, from memory. It seems to cut digits off."""

HANDBOOK = {
    Salt.LITHIUM_CHLORIDE: (11.20, 11.25, 11.30, 11.35),
    Salt.MAGNESIUM_CHLORIDE: (32.92, 32.86, 32.79, 32.73),
    Salt.SODIUM_CHLORIDE: (75.47, 75.36, 75.25, 75.15),
    Salt.POTASSIUM_CHLORIDE: (85.74, 84.94, 84.17, 83.43),
    Salt.POTASSIUM_SULFATE: (97.61, 97.42, 97.23, 97.05),
}
"""Constant-humidity solutions of the CRC Handbook of Chemistry and Physics, from its A exp(B / T):
another fit to other measurements."""


@pytest.mark.parametrize("salt", Salt)
def test_fixed_points_are_those_of_the_table(salt: Salt) -> None:
    """Within 0.02 %RH of the printed values (a digit cut off, and one rounded)."""
    for temperature, (humidity, _) in zip(TEMPERATURES, GREENSPAN[salt], strict=True):
        assert fixed_point(salt, temperature).humidity == pytest.approx(humidity, abs=0.02)


@pytest.mark.parametrize("salt", Salt)
def test_limits_are_no_narrower_than_the_table(salt: Salt) -> None:
    """What we say a salt may be off covers the uncertainty that goes with the table."""
    for temperature, (_, uncertainty) in zip(TEMPERATURES, GREENSPAN[salt], strict=True):
        assert fixed_point(salt, temperature).limit >= uncertainty


@pytest.mark.parametrize("salt", HANDBOOK)
def test_another_source_agrees(salt: Salt) -> None:
    """The handbook's values lie within 0.6 %RH: no sign or digit of a polynomial is wrong."""
    for temperature, humidity in zip(TEMPERATURES, HANDBOOK[salt], strict=True):
        assert fixed_point(salt, temperature).humidity == pytest.approx(humidity, abs=0.6)


@pytest.mark.parametrize("salt", Salt)
def test_the_slope_is_that_of_the_curve(salt: Salt) -> None:
    """Against a central difference."""
    for temperature in (16.0, 22.5, 29.0):
        low, high = (fixed_point(salt, temperature + step).humidity for step in (-0.01, 0.01))
        assert sensitivity(salt, temperature) == pytest.approx((high - low) / 0.02, abs=1e-6)


def test_a_probe_warmer_than_its_salt() -> None:
    """0.1 K at 75 %RH and 20 Cel is worth 0.47 %RH.

    Saturation over water: 2.3392 kPa at 20 Cel, 2.4874 kPa at 21 Cel (steam tables, IAPWS-95 by
    CoolProp): 6.2 % per kelvin.
    """
    point = fixed_point(Salt.SODIUM_CHLORIDE, 20.0)

    assert point.gradient_limit(20.0, 0.1) == pytest.approx(
        75.48 * math.log(2.4874 / 2.3392) / 10, rel=0.02
    )


@pytest.mark.parametrize("temperature", [14.9, 30.1, 45.0, float("nan")])
def test_no_fixed_point_beyond_what_was_checked(temperature: float) -> None:
    """A box in a cold cellar or in the sun gives no reference."""
    with pytest.raises(ValueError, match="from 15 to 30 Cel"):
        fixed_point(Salt.SODIUM_CHLORIDE, temperature)
