"""The saturation curves against the releases' check values, CoolProp, PsychroLib, MetPy, tables."""

from collections.abc import Callable

import metpy.calc
import numpy as np
import psychrolib
import pytest
from CoolProp.CoolProp import PropsSI
from metpy.units import units

from monitor import air
from monitor.air import Floats

psychrolib.SetUnitSystem(psychrolib.SI)

WARM = np.arange(0.01, 60.001, 0.05)
COLD = np.arange(-40.0, -0.049, 0.05)


@pytest.mark.parametrize(
    ("kelvin", "megapascal"), [(300, 0.353658941e-2), (500, 0.263889776e1), (600, 0.123443146e2)]
)
def test_release_check_values_of_pressure(kelvin: float, megapascal: float) -> None:
    """Equation 30 gives table 35 of IAPWS R7-97(2012), to its nine digits.

    The table was read in the tests of public steam libraries, not in the release itself.
    """
    ours = air.saturation_vapour_pressure(kelvin - 273.15)

    assert ours == pytest.approx(megapascal * 1000.0, rel=2e-9)


@pytest.mark.parametrize(
    ("megapascal", "kelvin"), [(0.1, 372.755919), (1.0, 453.035632), (10.0, 584.149488)]
)
def test_release_check_values_of_temperature(megapascal: float, kelvin: float) -> None:
    """Equation 31 gives table 36 of IAPWS R7-97(2012), to its nine digits (read as above)."""
    assert air.dew_point_from_vapour_pressure(megapascal * 1000.0) + 273.15 == pytest.approx(
        kelvin, abs=5e-7
    )


def test_coded_as_coolprop_codes_the_same_formula(agrees: Callable[..., None]) -> None:
    """CoolProp's own IAPWS-IF97 gives the same numbers: the coefficients are right."""
    theirs = PropsSI("P", "T", WARM + 273.15, "Q", 0, "IF97::Water") / 1000.0

    agrees(
        "e_s, CoolProp IF97",
        air.saturation_vapour_pressure(WARM),
        theirs,
        within=1e-12,
        relative=True,
    )


def test_accurate_against_iapws_95(agrees: Callable[..., None]) -> None:
    """From 0.01 to 60 Cel within 75 ppm of IAPWS-95, CoolProp's equation of state of water.

    A formula of another kind, fitted to the measurements, so this is the accuracy.
    """
    theirs = PropsSI("P", "T", WARM + 273.15, "Q", 0, "Water") / 1000.0

    agrees(
        "e_s, CoolProp IAPWS-95",
        air.saturation_vapour_pressure(WARM),
        theirs,
        within=75e-6,
        relative=True,
    )


def test_within_what_psychrolib_allows(agrees: Callable[..., None]) -> None:
    """Within 300 ppm of PsychroLib, whose source (ASHRAE, Hyland-Wexler) claims 300 ppm."""
    theirs = [psychrolib.GetSatVapPres(t) / 1000.0 for t in WARM]

    agrees(
        "e_s, PsychroLib", air.saturation_vapour_pressure(WARM), theirs, within=3e-4, relative=True
    )


@pytest.mark.parametrize(("temperature", "pascal"), [(5, 872.6), (25, 3169.7), (50, 12351.3)])
def test_ashrae_printed_table(temperature: float, pascal: float) -> None:
    """ASHRAE Fundamentals 2017 ch. 1 table 3 (as PsychroLib's tests quote it) to its 300 ppm."""
    assert air.saturation_vapour_pressure(temperature) * 1000.0 == pytest.approx(pascal, rel=3e-4)


def test_within_what_metpy_allows(agrees: Callable[..., None]) -> None:
    """Within 0.8 % of MetPy 1.7 over water, up to 60 Cel.

    Wide because MetPy takes constant heat capacities; it is itself 0.77 % off IAPWS-95 at 60 Cel.
    """
    theirs = metpy.calc.saturation_vapor_pressure(units.Quantity(WARM, "degC")).m_as("kPa")

    agrees("e_s, MetPy", air.saturation_vapour_pressure(WARM), theirs, within=8e-3, relative=True)


def test_supercooled_water_against_metpy(agrees: Callable[..., None]) -> None:
    """Down to -40 Cel, where the release no longer speaks, within 0.2 % of MetPy over liquid."""
    theirs = metpy.calc.saturation_vapor_pressure(units.Quantity(COLD, "degC"), phase="liquid")

    agrees(
        "e_s below 0 Cel, MetPy",
        air.saturation_vapour_pressure(COLD),
        theirs.m_as("kPa"),
        within=2e-3,
        relative=True,
    )


def test_supercooled_water_and_ice_of_murphy_and_koop() -> None:
    """At 240 K within 0.05 % of the check values of Murphy & Koop (2005) for water and ice.

    37.667 and 27.272 Pa are from memory; their equation 10, also from memory, gives the first.
    """
    water = air.saturation_vapour_pressure(240.0 - 273.15)
    ice = air.saturation_vapour_pressure_over_ice(240.0 - 273.15)

    assert water * 1000.0 == pytest.approx(37.667, rel=5e-4)
    assert ice * 1000.0 == pytest.approx(27.272, rel=5e-4)


@pytest.mark.parametrize(
    ("temperature", "kilopascal"),
    [
        (1, 0.657), (5, 0.872), (10, 1.228), (15, 1.705), (20, 2.338), (25, 3.168),
        (30, 4.243), (35, 5.623), (40, 7.376), (45, 9.5825), (48, 11.163),
    ],
)  # fmt: skip
def test_fao_56_table_2_3(temperature: float, kilopascal: float) -> None:
    """FAO-56 table 2.3, whose equation 11 is up to 0.14 % low, and half of its last digit.

    Up to 30 Cel the printed digits were read in public test files; above, they are equation 11.
    """
    assert air.saturation_vapour_pressure(temperature) == pytest.approx(
        kilopascal, abs=5e-4 + 1.4e-3 * kilopascal
    )


def test_slope_is_the_derivative_of_iapws_95(agrees: Callable[..., None]) -> None:
    """The slope follows CoolProp's curve, differenced over 0.02 K, to 0.02 %."""
    inner = WARM[1:]
    above, below = (
        PropsSI("P", "T", inner + 273.15 + step, "Q", 0, "Water") for step in (0.01, -0.01)
    )

    agrees(
        "slope, CoolProp IAPWS-95",
        air.saturation_slope(inner),
        (above - below) / 0.02 / 1000.0,
        within=2e-4,
        relative=True,
    )


def test_slope_holds_for_supercooled_water() -> None:
    """Below 0 Cel too the slope is the derivative of our own curve."""
    above = air.saturation_vapour_pressure(COLD + 1e-3)
    below = air.saturation_vapour_pressure(COLD - 1e-3)

    assert air.saturation_slope(COLD) == pytest.approx((above - below) / 2e-3, rel=1e-6)


@pytest.mark.parametrize(
    ("temperature", "slope"), [(10, 0.082), (20, 0.145), (25, 0.189), (30, 0.243), (40, 0.393)]
)
def test_fao_56_table_2_4(temperature: float, slope: float) -> None:
    """FAO-56 table 2.4 (read in public test files): half a digit, and its formula's 0.2 %."""
    assert air.saturation_slope(temperature) == pytest.approx(slope, abs=5e-4 + 2e-3 * slope)


def test_inverse_undoes_the_curve() -> None:
    """A dew point taken back from its vapour pressure is the same from -40 to 60 Cel, to 1e-8 K."""
    temperature = np.linspace(-40.0, 60.0, 20_001)

    back = air.dew_point_from_vapour_pressure(air.saturation_vapour_pressure(temperature))

    assert np.abs(back - temperature).max() < 1e-8


def test_curve_rises_everywhere() -> None:
    """Warmer air always holds more, over water and over ice, well past the stated range."""
    wide = np.linspace(-80.0, 120.0, 50_001)

    assert np.all(np.diff(air.saturation_vapour_pressure(wide)) > 0)
    assert np.all(np.diff(air.saturation_vapour_pressure_over_ice(wide[wide <= 0])) > 0)


def test_ice_against_iapws(agrees: Callable[..., None]) -> None:
    """Over ice within 0.07 % and 0.0061 K of IAPWS R14-08 (sublimation) from -40 to 0 Cel.

    The release's equation 6 and its check value (230 K: 8.94735 Pa) were read in public libraries.
    """

    def sublimation(kelvin: Floats) -> Floats:
        theta = kelvin / 273.16
        terms = (
            -21.2144006 * theta**0.00333333333
            + 27.3203819 * theta**1.20666667
            - 6.10598130 * theta**1.70333333
        )
        return 0.611657 * np.exp(terms / theta)

    theirs = sublimation(COLD + 273.15)

    assert 1000.0 * sublimation(np.array([230.0]))[0] == pytest.approx(8.94735, rel=1e-6)
    ours = air.saturation_vapour_pressure_over_ice(COLD)
    agrees("e_i, IAPWS R14-08", ours, theirs, within=7e-4, relative=True)
    frost_point = air.frost_point_from_vapour_pressure(theirs)
    agrees("frost point, IAPWS R14-08", frost_point, COLD, within=0.0061)


def test_ice_against_psychrolib(agrees: Callable[..., None]) -> None:
    """Over ice within 0.06 % of PsychroLib (Hyland-Wexler over ice) from -40 to 0 Cel."""
    theirs = [psychrolib.GetSatVapPres(t) / 1000.0 for t in COLD]

    agrees(
        "e_i, PsychroLib",
        air.saturation_vapour_pressure_over_ice(COLD),
        theirs,
        within=6e-4,
        relative=True,
    )


def test_ice_against_metpy(agrees: Callable[..., None]) -> None:
    """Over ice within 0.3 % of MetPy, the coarser of the two."""
    theirs = metpy.calc.saturation_vapor_pressure(units.Quantity(COLD, "degC"), phase="solid")

    agrees(
        "e_i, MetPy",
        air.saturation_vapour_pressure_over_ice(COLD),
        theirs.m_as("kPa"),
        within=3e-3,
        relative=True,
    )


def test_frost_inverse_undoes_the_curve() -> None:
    """A frost point taken back from its vapour pressure is the same, to 1e-8 K."""
    back = air.frost_point_from_vapour_pressure(air.saturation_vapour_pressure_over_ice(COLD))

    assert np.abs(back - COLD).max() < 1e-8


def test_water_and_ice_meet_at_zero() -> None:
    """The two curves meet at 0 Cel within 0.01 %, so that no air falls between dew and frost."""
    ice = air.saturation_vapour_pressure_over_ice(0.0)

    assert ice == pytest.approx(air.saturation_vapour_pressure(0.0), rel=1e-4)


def test_there_is_no_ice_above_zero() -> None:
    """Above 0 Cel neither an ice pressure nor a frost point is made up."""
    assert np.isnan(air.saturation_vapour_pressure_over_ice(0.1))
    assert np.isnan(air.frost_point_from_vapour_pressure(0.7))
