"""A grid of air, what CoolProp says of it, and one way to compare."""

import logging
from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pytest
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI

Floats = npt.NDArray[np.float64]
KELVIN = 273.15
TRIPLE_POINT_PA = 611.657

log = logging.getLogger("validation")


class Grid(NamedTuple):
    """Flat columns over 5 to 45 Cel and 5 to 100 %RH, with CoolProp's values beside them.

    ``pure_dew_point`` is the saturation temperature of pure water (IAPWS-95) at the vapour pressure
    RH x e_s, NaN below 0.01 Cel; ``moist_dew_point`` is that of real moist air at 101.325 kPa.
    """

    temperature: Floats
    humidity: Floats
    saturation: Floats
    pure_dew_point: Floats
    moist_dew_point: Floats


@pytest.fixture(scope="session")
def grid() -> Grid:
    """Temperature in steps of 0.5 K, humidity in steps of 1 %RH."""
    levels = np.arange(5.0, 45.01, 0.5)
    humidity, temperature = (
        axis.ravel() for axis in np.meshgrid(np.arange(5.0, 100.01, 1.0), levels)
    )
    saturation = np.repeat(PropsSI("P", "T", levels + KELVIN, "Q", 0, "Water"), 96)
    pressure = saturation * humidity / 100.0
    dew = np.full_like(pressure, np.nan)
    liquid = pressure > TRIPLE_POINT_PA
    dew[liquid] = PropsSI("T", "P", pressure[liquid], "Q", 0, "Water") - KELVIN
    kelvin = temperature + KELVIN
    moist = HAPropsSI("Tdp", "T", kelvin, "P", 101325.0, "R", humidity / 100.0) - KELVIN
    return Grid(temperature, humidity, saturation / 1000.0, dew, moist)


Agrees = Callable[..., None]


@pytest.fixture(scope="session")
def agrees() -> Agrees:
    """Assert that two columns agree; the largest deviation goes to the log.

    ``pytest tests/air --log-cli-level=INFO`` prints the figures of docs/validation.md.
    """

    def compare(
        what: str, ours: object, theirs: object, *, within: float, relative: bool = False
    ) -> None:
        mine, other = np.asarray(ours, np.float64), np.asarray(theirs, np.float64)
        deviation = np.abs(mine / other - 1.0 if relative else mine - other)
        log.info("%s: %.3g of %.3g over %d", what, deviation.max(), within, deviation.size)
        assert deviation.size > 0
        assert deviation.max() <= within, what

    return compare
