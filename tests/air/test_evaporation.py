"""The wet bulb against CoolProp, PsychroLib, the energy balance itself and worked examples."""

from collections.abc import Callable
from typing import Any

import numpy as np
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from scipy.optimize import brentq

from monitor import air

psychrolib.SetUnitSystem(psychrolib.SI)


def test_wet_bulb_against_coolprop(grid: Any, agrees: Callable[..., None]) -> None:
    """Above 0 Cel within 0.03 K of CoolProp's moist air, real gas and enhancement factor."""
    theirs = (
        HAPropsSI("B", "T", grid.temperature + 273.15, "P", 101325.0, "R", grid.humidity / 100.0)
        - 273.15
    )
    liquid = theirs > 0.1

    agrees(
        "wet bulb, CoolProp air",
        air.wet_bulb(grid.temperature, grid.humidity)[liquid],
        theirs[liquid],
        within=0.03,
    )


@pytest.mark.parametrize("pressure", [84.556, 101.325])
def test_wet_bulb_against_psychrolib(
    grid: Any, agrees: Callable[..., None], pressure: float
) -> None:
    """Above 0 Cel within 0.003 K of PsychroLib: same equation; its bisection ends at 0.001 K."""
    theirs = np.array(
        [
            psychrolib.GetTWetBulbFromRelHum(t, rh / 100.0, pressure * 1000.0)
            for t, rh in zip(grid.temperature, grid.humidity, strict=True)
        ]
    )
    liquid = theirs > 0.1

    agrees(
        f"wet bulb at {pressure} kPa, PsychroLib",
        air.wet_bulb(grid.temperature, grid.humidity, pressure)[liquid],
        theirs[liquid],
        within=0.003,
    )


def test_wet_bulb_solves_the_energy_balance() -> None:
    """From -40 to 60 Cel, 0 to 105 %RH, 70 to 110 kPa the bulb satisfies ASHRAE equation 33.

    The equation is put down here as the handbook prints it, solved for the mixing ratio, which must
    be that of the air to 1e-6 g/kg.
    """
    t, rh, p = np.meshgrid(
        np.linspace(-40.0, 60.0, 51), np.linspace(0.0, 105.0, 36), [70.0, 101.325, 110.0]
    )

    bulb = air.wet_bulb(t, rh, p)

    saturated = air.mixing_ratio(bulb, 100.0, p) / 1000.0
    balance = (2501.0 - 2.326 * bulb) * saturated - 1.006 * (t - bulb)
    balance /= 2501.0 + 1.86 * t - 4.186 * bulb
    assert np.abs(1000.0 * balance - air.mixing_ratio(t, rh, p)).max() < 1e-6


def test_ashrae_example_1() -> None:
    """ASHRAE ch. 1 example 1: a wet bulb of 20 Cel in air of 40 Cel, read off a chart.

    0.0065 kg/kg, 14 %RH, a dew point of 7 Cel, with the tolerances that PsychroLib's tests allow
    for reading a chart.
    """
    humidity = brentq(lambda rh: air.wet_bulb(40.0, rh) - 20.0, 1.0, 99.0)

    assert air.mixing_ratio(40.0, humidity) == pytest.approx(6.5, abs=0.1)
    assert humidity == pytest.approx(14.0, abs=1.0)
    assert air.dew_point(40.0, humidity) == pytest.approx(7.0, abs=0.5)


def test_fao_56_example_4() -> None:
    """FAO-56 example 4: 25.6 Cel, wet bulb 19.5 Cel, 87.9 kPa: 1.91 kPa of vapour.

    Run backwards. Half a digit of 1.91 is 0.025 K; the example's psychrometer constant is that of a
    ventilated instrument, 3 % above the ideal one, which is worth 0.055 K: 0.08 K in all.
    """
    humidity = air.relative_humidity(25.6, 1.91)

    assert air.saturation_vapour_pressure(19.5) == pytest.approx(2.267, abs=0.005)
    assert air.wet_bulb(25.6, humidity, 87.9) == pytest.approx(19.5, abs=0.08)


def test_wet_bulb_lies_between_dew_point_and_air(grid: Any) -> None:
    """Evaporation cools, but never to the dew point unless the air is saturated."""
    dry = grid.humidity < 100.0
    temperature, humidity = grid.temperature[dry], grid.humidity[dry]

    bulb = air.wet_bulb(temperature, humidity)

    assert np.all(air.dew_point(temperature, humidity) < bulb)
    assert np.all(bulb < temperature)
    assert air.wet_bulb(grid.temperature, 100.0) == pytest.approx(grid.temperature, abs=1e-8)
