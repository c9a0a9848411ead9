"""Three years of hourly weather, as pvlib ships them, whose dew points others computed.

Sand Point and Greensboro (TMY3) and Miami (TMY2) give temperature and dew point to 0.1 K and
humidity to 1 %RH. TMY3 files join months of different years and smooth temperature and dew point,
but not humidity, over 6 hours on either side: those rows contradict themselves and are left out.
"""

import csv
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import pytest

from monitor import air

Floats = npt.NDArray[np.float64]

HOURS_OF_MONTHS = 24 * np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
SPLICE_H = 6


class Weather(NamedTuple):
    """Hourly columns of one place: Cel, %RH, Cel."""

    temperature: Floats
    humidity: Floats
    dew_point: Floats


def data(name: str) -> Path:
    """Where pvlib keeps a file."""
    package = find_spec("pvlib")
    assert package is not None
    assert package.origin is not None
    return Path(package.origin).parent / "data" / name


def tmy3(name: str) -> Weather:
    """The rows of a TMY3 file but those within 6 hours of a month's end."""
    with data(name).open(newline="") as file:
        next(file)
        rows = [
            [float(row[key]) for key in ("Dry-bulb (C)", "RHum (%)", "Dew-point (C)")]
            for row in csv.DictReader(file)
        ]
    hour = np.arange(len(rows))
    edges = np.concatenate([[0], np.cumsum(HOURS_OF_MONTHS)])
    inside = np.abs(hour[:, np.newaxis] + 0.5 - edges).min(axis=1) > SPLICE_H
    assert len(rows) == 8760
    return Weather(*np.array(rows)[inside].T)


def tmy2(name: str) -> Weather:
    """All rows of a TMY2 file (fixed columns)."""
    lines = data(name).read_text().splitlines()[1:]
    assert len(lines) == 8760
    rows = [[int(line[67:71]) / 10, int(line[79:82]), int(line[73:77]) / 10] for line in lines]
    return Weather(*np.array(rows).T)


def rounding(weather: Weather) -> Floats:
    """What half a digit of each column can do to the dew point, K."""
    slope = air.saturation_slope(weather.dew_point)
    by_humidity = 0.5 * air.saturation_vapour_pressure(weather.temperature) / 100.0 / slope
    by_temperature = (
        0.05 * air.saturation_slope(weather.temperature) * weather.humidity / 100.0 / slope
    )
    return by_humidity + by_temperature + 0.05


@pytest.mark.parametrize(
    ("weather", "hours", "largest", "usual"),
    [
        (lambda: tmy3("723170TYA.CSV"), 6592, 0.40, 0.18),
        (lambda: tmy3("703165TY.csv"), 5093, 0.20, 0.11),
        (lambda: tmy2("12839.tm2"), 8000, 0.40, 0.18),
    ],
    ids=["Greensboro", "Sand Point", "Miami"],
)
def test_dew_points_of_a_year(
    weather: Callable[[], Weather],
    hours: int,
    largest: float,
    usual: float,
    agrees: Callable[..., None],
    request: pytest.FixtureRequest,
) -> None:
    """Where the dew point is 0 Cel or above we give the file's, as near as its rounding allows.

    The 1 %RH steps alone are worth 0.1 to 0.3 K. At least 99 % of hours lie within the bound that
    half a digit of each column sets, 95 % within ``usual`` K.
    """
    rows = weather()
    mild = Weather(*(column[rows.dew_point >= 0.0] for column in rows))
    place = request.node.callspec.id

    ours = air.dew_point(mild.temperature, mild.humidity)

    deviation = np.abs(ours - mild.dew_point)
    assert deviation.size >= hours
    agrees(f"dew point, {place}", ours, mild.dew_point, within=largest)
    assert np.quantile(deviation, 0.95) <= usual
    assert np.mean(deviation <= rounding(mild)) >= 0.99


def test_frost_points_of_a_winter(agrees: Callable[..., None]) -> None:
    """What Sand Point's file calls a dew point below 0 Cel is a frost point, and ours agrees.

    Read as dew points those hours would be up to a kelvin off, so the two are told apart.
    """
    rows = tmy3("703165TY.csv")
    frosty = (rows.dew_point < 0.0) & (rows.temperature >= 0.0)
    temperature, humidity, theirs = (column[frosty] for column in rows)

    frost = air.frost_point(temperature, humidity)

    assert frosty.sum() > 1800
    agrees("frost point, Sand Point", frost, theirs, within=0.20)
    assert np.quantile(np.abs(frost - theirs), 0.95) <= 0.11
    dew = air.dew_point(temperature, humidity)
    assert np.quantile(np.abs(dew - theirs), 0.95) > 0.8
