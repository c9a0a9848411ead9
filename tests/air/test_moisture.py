"""Vapour pressure, humidity and deficits against CoolProp, MetPy and FAO-56's worked examples."""

from collections.abc import Callable
from typing import Any

import metpy.calc
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from metpy.units import units

from monitor import air


def test_deficit_against_coolprop(grid: Any, agrees: Callable[..., None]) -> None:
    """Over the grid within 0.0006 kPa of e_s (1 - RH) by IAPWS-95."""
    theirs = grid.saturation * (1.0 - grid.humidity / 100.0)

    agrees(
        "VPD, CoolProp water",
        air.vapour_pressure_deficit(grid.temperature, grid.humidity),
        theirs,
        within=0.0006,
    )


def test_vapour_pressure_and_deficit_fill_the_saturation_pressure(grid: Any) -> None:
    """What is there and what is missing add up to saturation."""
    there = air.vapour_pressure(grid.temperature, grid.humidity)
    missing = air.vapour_pressure_deficit(grid.temperature, grid.humidity)

    assert there + missing == pytest.approx(air.saturation_vapour_pressure(grid.temperature))


def test_vapour_pressure_against_metpy(grid: Any, agrees: Callable[..., None]) -> None:
    """Within 0.5 % of MetPy, the accuracy of MetPy's curve here."""
    dew_point = units.Quantity(grid.temperature, "degC")
    theirs = metpy.calc.saturation_vapor_pressure(dew_point).m_as("kPa") * grid.humidity / 100.0

    agrees(
        "e, MetPy",
        air.vapour_pressure(grid.temperature, grid.humidity),
        theirs,
        within=5e-3,
        relative=True,
    )


@pytest.mark.parametrize(
    ("temperature", "humidity", "leaf_offset", "pascal"),
    [
        (25, 70, -2.0, 592.1), (25, 70, 0.0, 951.0), (25, 70, 2.0, 1349.2), (30, 60, -1.0, 1461.0),
        (20, 85, 1.0, 499.8), (22, 95, -0.5, 52.7), (22, 95, -1.0, -24.9),
    ],
)  # fmt: skip
def test_leaf_deficit_against_coolprop(
    temperature: float, humidity: float, leaf_offset: float, pascal: float
) -> None:
    """Leaf against air within 0.6 Pa of IAPWS-95 (values of CoolProp 8.0); the last leaf is wet."""
    ours = air.leaf_vapour_pressure_deficit(temperature, humidity, temperature + leaf_offset)

    assert ours * 1000.0 == pytest.approx(pascal, abs=0.6)


def test_leaf_deficit_over_the_grid(grid: Any, agrees: Callable[..., None]) -> None:
    """A leaf 3 K cooler to 3 K warmer than the air, over the whole grid: within 0.0007 kPa."""
    for offset in (-3.0, -1.0, 1.0, 3.0):
        leaf = grid.temperature + offset
        theirs = PropsSI("P", "T", leaf + 273.15, "Q", 0, "Water") / 1000.0
        theirs = theirs - grid.saturation * grid.humidity / 100.0
        ours = air.leaf_vapour_pressure_deficit(grid.temperature, grid.humidity, leaf)

        agrees(f"leaf VPD {offset:+g} K, CoolProp water", ours, theirs, within=0.0007)


def test_leaf_at_air_temperature_has_the_air_deficit(grid: Any) -> None:
    """A leaf as warm as the air sees the air's own deficit."""
    leaf = air.leaf_vapour_pressure_deficit(grid.temperature, grid.humidity, grid.temperature)

    assert leaf == pytest.approx(
        air.vapour_pressure_deficit(grid.temperature, grid.humidity), abs=1e-12
    )


# FAO-56 prints two or three decimals; its equation 11 is up to 0.13 % low.
FAO = 0.005


def test_fao_56_example_3() -> None:
    """FAO-56 example 3: means of saturation pressures, not of temperatures.

    24.5 and 15 Cel: 3.075 and 1.705, mean 2.39 kPa; at the mean temperature only 2.30.
    """
    high, low = air.saturation_vapour_pressure(24.5), air.saturation_vapour_pressure(15.0)

    assert high == pytest.approx(3.075, abs=FAO)
    assert low == pytest.approx(1.705, abs=FAO)
    assert (high + low) / 2 == pytest.approx(2.39, abs=FAO)
    assert air.saturation_vapour_pressure(19.75) == pytest.approx(2.30, abs=FAO)


def test_fao_56_example_5() -> None:
    """FAO-56 example 5: 18 Cel at 82 % and 25 Cel at 54 % hold 1.70 kPa on average."""
    night, day = air.vapour_pressure(18.0, 82.0), air.vapour_pressure(25.0, 54.0)

    assert air.saturation_vapour_pressure(18.0) == pytest.approx(2.064, abs=FAO)
    assert air.saturation_vapour_pressure(25.0) == pytest.approx(3.168, abs=FAO)
    assert (night + day) / 2 == pytest.approx(1.70, abs=FAO)
    assert night == pytest.approx(1.69, abs=FAO)


def test_fao_56_equation_10() -> None:
    """FAO-56 equation 10: 1.91 kPa where 2.39 kPa would saturate is 79.91 %RH."""
    temperature = air.dew_point_from_vapour_pressure(2.39)

    assert air.relative_humidity(temperature, 1.91) == pytest.approx(79.91, abs=0.01)


def test_humidity_is_not_clipped() -> None:
    """Cooled below its dew point, air shows more than 100 %RH: the caller must see it."""
    held = air.vapour_pressure(25.0, 90.0)

    assert air.relative_humidity(20.0, held) > 100.0


def test_wet_sensor_reading_gives_negative_deficit() -> None:
    """A sensor at 101 %RH gives a deficit just below zero."""
    assert -0.04 < air.vapour_pressure_deficit(25.0, 101.0) < 0.0


def test_deficit_falls_as_humidity_rises() -> None:
    """At one temperature, moister air lacks less."""
    deficit = air.vapour_pressure_deficit(25.0, np.linspace(0.0, 100.0, 101))

    assert np.all(np.diff(deficit) < 0)
