"""Absolute humidity and mixing ratio against CoolProp, PsychroLib and the gas law."""

from collections.abc import Callable
from typing import Any

import numpy as np
import psychrolib
import pytest
import scipy.constants
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

from monitor import air

psychrolib.SetUnitSystem(psychrolib.SI)


def test_absolute_humidity_is_the_gas_law(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 80 ppm of e M / (R T), with IAPWS-95 pressures and scipy's CODATA gas constant."""
    kelvin = grid.temperature + 273.15
    molar_mass = PropsSI("molar_mass", "Water") * 1000.0
    pascal = grid.saturation * 1000.0 * grid.humidity / 100.0
    theirs = pascal * molar_mass / (scipy.constants.R * kelvin)

    agrees(
        "absolute humidity, gas law",
        air.absolute_humidity(grid.temperature, grid.humidity),
        theirs,
        within=80e-6,
        relative=True,
    )


def test_absolute_humidity_of_real_air(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 0.6 % of CoolProp's moist air: it holds 0.4 to 0.5 % more, the enhancement factor."""
    state = ("T", grid.temperature + 273.15, "P", 101325.0, "R", grid.humidity / 100.0)
    theirs = 1000.0 * HAPropsSI("W", *state) / HAPropsSI("Vda", *state)

    agrees(
        "absolute humidity, CoolProp air",
        air.absolute_humidity(grid.temperature, grid.humidity),
        theirs,
        within=6e-3,
        relative=True,
    )


@pytest.mark.parametrize(
    ("temperature", "grams"),
    [
        (10, 9.399),
        (15, 12.827),
        (20, 17.291),
        (25, 23.037),
        (30, 30.355),
        (35, 39.580),
        (40, 51.098),
    ],
)
def test_saturated_absolute_humidity(temperature: float, grams: float) -> None:
    """Saturated air within 0.01 % of the gas law with IAPWS-95 pressures (CoolProp 8.0)."""
    assert air.absolute_humidity(temperature, 100.0) == pytest.approx(grams, rel=1e-4)


def test_mixing_ratio_of_real_air(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 0.7 % of CoolProp's moist air, the enhancement factor being 0.4 to 0.5 %."""
    theirs = HAPropsSI(
        "W", "T", grid.temperature + 273.15, "P", 101325.0, "R", grid.humidity / 100.0
    )

    agrees(
        "mixing ratio, CoolProp air",
        air.mixing_ratio(grid.temperature, grid.humidity),
        theirs * 1000.0,
        within=7e-3,
        relative=True,
    )


@pytest.mark.parametrize("pressure", [84.556, 95.0, 101.325])
def test_mixing_ratio_against_psychrolib(
    grid: Any, agrees: Callable[..., None], pressure: float
) -> None:
    """Within 0.03 % of PsychroLib, an ideal mixture as well, at sea level and up the hill."""
    theirs = [
        psychrolib.GetHumRatioFromRelHum(t, rh / 100.0, pressure * 1000.0) * 1000.0
        for t, rh in zip(grid.temperature, grid.humidity, strict=True)
    ]

    agrees(
        f"mixing ratio at {pressure} kPa, PsychroLib",
        air.mixing_ratio(grid.temperature, grid.humidity, pressure),
        theirs,
        within=3e-4,
        relative=True,
    )


def test_warming_thins_the_vapour_but_leaves_the_mixing_ratio() -> None:
    """25 Cel warmed to 28 Cel with all its water: 1 % fewer grams per cubic metre, equal g/kg."""
    warmed = air.relative_humidity(28.0, air.vapour_pressure(25.0, 60.0))

    thinned = air.absolute_humidity(28.0, warmed) / air.absolute_humidity(25.0, 60.0)

    assert thinned == pytest.approx(298.15 / 301.15)
    assert air.mixing_ratio(28.0, warmed) == pytest.approx(air.mixing_ratio(25.0, 60.0))


def test_pressure_may_vary_along_the_column() -> None:
    """Each reading can have its own air pressure."""
    pressure = np.array([101.325, 95.0])

    ours = air.mixing_ratio(np.array([25.0, 25.0]), 50.0, pressure)

    assert ours == pytest.approx([air.mixing_ratio(25.0, 50.0, p) for p in pressure])
