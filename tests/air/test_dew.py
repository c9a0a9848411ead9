"""Dew and frost points against CoolProp, PsychroLib, MetPy."""

from collections.abc import Callable
from typing import Any

import metpy.calc
import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAProps_Aux
from metpy.units import units

from monitor import air

psychrolib.SetUnitSystem(psychrolib.SI)


def test_dew_point_of_pure_vapour(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 0.0015 K of CoolProp's saturation temperature of water (IAPWS-95) at RH x e_s.

    The same convention as ours, so this is the error of the formula.
    """
    liquid = ~np.isnan(grid.pure_dew_point)
    ours = air.dew_point(grid.temperature[liquid], grid.humidity[liquid])

    agrees("dew point, CoolProp water", ours, grid.pure_dew_point[liquid], within=0.0015)


def test_dew_point_of_real_moist_air(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 0.006 K of CoolProp's moist air up to 30 Cel, within 0.016 K up to 45 Cel.

    CoolProp's moist air carries the enhancement factor f(T) at the air's temperature and f(Td) at
    the dew point; we carry none. They nearly cancel, less so in hot dry air.
    """
    ours = air.dew_point(grid.temperature, grid.humidity)
    liquid = grid.moist_dew_point >= 0.0
    mild = liquid & (grid.temperature <= 30.0)

    agrees("dew point, CoolProp air", ours[liquid], grid.moist_dew_point[liquid], within=0.016)
    agrees(
        "dew point to 30 Cel, CoolProp air", ours[mild], grid.moist_dew_point[mild], within=0.006
    )


def test_enhancement_is_what_differs_from_moist_air(grid: Any, agrees: Callable[..., None]) -> None:
    """With CoolProp's own f(T)/f(Td) put in, its moist air agrees within 1e-5 K everywhere.

    So close because CoolProp's moist air takes its saturation from IAPWS-IF97, as we do.
    """
    liquid = grid.moist_dew_point >= 0.1
    temperature, theirs = grid.temperature[liquid], grid.moist_dew_point[liquid]
    here, there = (
        np.array([HAProps_Aux("f", t + 273.15, 101325.0, 0.0)[0] for t in place])
        for place in (temperature, theirs)
    )

    ours = air.dew_point(temperature, grid.humidity[liquid] * here / there)

    agrees("dew point with f, CoolProp air", ours, theirs, within=1e-5)


def test_dew_point_against_psychrolib(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 0.004 K of PsychroLib: its formula's 0.003 K and its iteration's end at 0.001 K."""
    liquid = ~np.isnan(grid.pure_dew_point)
    temperature, humidity = grid.temperature[liquid], grid.humidity[liquid]
    theirs = [
        psychrolib.GetTDewPointFromRelHum(t, rh / 100.0)
        for t, rh in zip(temperature, humidity, strict=True)
    ]

    agrees("dew point, PsychroLib", air.dew_point(temperature, humidity), theirs, within=0.004)


def test_dew_point_against_metpy(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 0.15 K of MetPy 1.7, whose curve and inverse do not undo each other.

    It has saturated air of 45 Cel at a dew point of 44.86 Cel, and all our difference is its own.
    """
    liquid = ~np.isnan(grid.pure_dew_point)
    temperature, humidity = grid.temperature[liquid], grid.humidity[liquid]
    theirs = metpy.calc.dewpoint_from_relative_humidity(
        units.Quantity(temperature, "degC"), units.Quantity(humidity, "percent")
    )

    agrees(
        "dew point, MetPy", air.dew_point(temperature, humidity), theirs.m_as("degC"), within=0.15
    )


def test_frost_point_against_moist_air(grid: Any, agrees: Callable[..., None]) -> None:
    """Below 0 Cel CoolProp's dew point is a frost point: ours agrees within 0.015 K.

    0.006 K comes from the ice curve, the rest from the enhancement factor, as for the dew point.
    """
    frozen = grid.moist_dew_point < -0.1
    ours = air.frost_point(grid.temperature[frozen], grid.humidity[frozen])

    agrees("frost point, CoolProp air", ours, grid.moist_dew_point[frozen], within=0.015)


def test_frost_point_is_given_exactly_where_frost_comes_first(grid: Any) -> None:
    """A frost point is there if and only if the dew point is below 0 Cel, and lies between both."""
    dew = air.dew_point(grid.temperature, grid.humidity)
    frost = air.frost_point(grid.temperature, grid.humidity)
    cold = dew < -0.001

    assert np.all(np.isnan(frost[~cold]))
    assert np.all((frost[cold] > dew[cold]) & (frost[cold] <= 0.0))
    assert cold.any()


def test_saturated_air_is_at_its_dew_point() -> None:
    """At 100 %RH the dew point is the air's temperature."""
    temperature = np.linspace(-40.0, 60.0, 1001)

    assert air.dew_point(temperature, 100.0) == pytest.approx(temperature, abs=1e-8)


def test_dry_air_has_no_dew_point() -> None:
    """At 0 %RH, or below by a sensor's offset, dew and frost points are NaN, without warning."""
    humidity = np.array([0.0, -0.5])

    assert np.isnan(air.dew_point(25.0, humidity)).all()
    assert np.isnan(air.frost_point(25.0, humidity)).all()


@pytest.mark.parametrize(
    ("dew_point", "word"), [(12.0, "dew"), (0.0, "dew"), (-0.1, "frost"), (-15.0, "frost")]
)
def test_the_word_follows_the_dew_point(dew_point: float, word: str) -> None:
    """What settles is called dew from 0 Cel up, frost below."""
    assert air.condensation(dew_point) == word
