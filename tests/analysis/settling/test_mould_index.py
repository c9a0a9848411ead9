"""The mould index against numbers computed apart from it.

They were computed with the equations of Hukka and Viitanen 1999 as public implementations give
them; the paper itself was not at hand. Agreement within half a per cent.
"""

import numpy as np
import pytest

from monitor.analysis.settling.mould_index import (
    critical_humidity,
    grows,
    highest_index,
    mould_index,
    weeks_to_show,
    weeks_to_start,
)

CLIMATES = [
    (20.0, 90.0, 4.2019, 7.7336, 3.9950),
    (20.0, 97.0, 1.4835, 2.9827, 5.5039),
    (25.0, 85.0, 7.9910, 13.5652, 2.6250),
    (25.0, 90.0, 3.6104, 6.5565, 4.0000),
    (25.0, 95.0, 1.7028, 3.2960, 5.1250),
    (25.0, 100.0, 0.8347, 1.7165, 6.0000),
    (10.0, 90.0, 6.7321, 12.9165, 3.7112),
]
"""Cel, %RH, weeks to start, weeks to show, highest index."""

ONSETS = [
    (20.0, 90.0, (29.46, 41.88, 54.75)),
    (25.0, 90.0, (25.29, 35.67, 46.42)),
    (25.0, 95.0, (11.96, 17.54, 23.13, 28.88, 37.58)),
    (25.0, 97.0, (8.96, 13.33, 17.75, 22.21, 27.21)),
    (25.0, 100.0, (5.88, 8.96, 12.04, 15.17, 18.38)),
]
"""Cel, %RH, days until the index reaches 1, 2, 3 ... by the hour."""

DECLINES = [(3, 0.0040), (6, 0.0080), (24, 0.0080), (48, 0.0240), (72, 0.0400), (168, 0.1040)]
"""Dry hours, fall of the index."""


@pytest.mark.parametrize(
    ("temperature", "humidity"),
    [(1, 97.027), (5, 88.016), (10, 82.030), (15, 80.039), (20, 80.040), (25, 80.0)],
)
def test_critical_humidity(temperature: float, humidity: float) -> None:
    """Where mould begins to grow falls with warmth, to 80 %RH."""
    assert critical_humidity(np.array([temperature])) == pytest.approx(humidity, rel=5e-5)


@pytest.mark.parametrize(("temperature", "humidity", "start", "show", "highest"), CLIMATES)
def test_times_and_highest_index(
    temperature: float, humidity: float, start: float, show: float, highest: float
) -> None:
    """Weeks until growth starts, until it shows, and how far it goes."""
    at, wet = np.array([temperature]), np.array([humidity])

    assert weeks_to_start(at, wet) == pytest.approx(start, rel=5e-3)
    assert weeks_to_show(at, wet) == pytest.approx(show, rel=5e-3)
    assert highest_index(at, wet) == pytest.approx(highest, rel=5e-3)


@pytest.mark.parametrize(("temperature", "humidity", "days"), ONSETS)
def test_a_steady_climate_by_the_hour(
    temperature: float, humidity: float, days: tuple[float, ...]
) -> None:
    """The index reaches each whole number on the day it should, within half a per cent."""
    hours = 24 * 60
    index = mould_index(np.full(hours, temperature), np.full(hours, humidity))

    reached = [(int(np.argmax(index >= whole)) + 1) / 24 for whole in range(1, len(days) + 1)]

    assert reached == pytest.approx(days, rel=5e-3)


@pytest.mark.parametrize(("hours", "fall"), DECLINES)
def test_dry_hours_lower_it(hours: int, fall: float) -> None:
    """Fast for six hours, not at all until a day has passed, slowly after that."""
    wet = 24 * 30
    humidity = np.concatenate([np.full(wet, 95.0), np.full(hours, 50.0)])
    index = mould_index(np.full(wet + hours, 25.0), humidity)

    assert index[wet - 1] - index[-1] == pytest.approx(fall, rel=5e-3)


def test_it_stays_within_its_scale_and_waits_out_gaps() -> None:
    """Never below 0, never above 6; hours of which nothing is known change nothing."""
    hours = 24 * 200
    temperature = np.full(hours, 25.0)

    assert mould_index(temperature, np.full(hours, 30.0)).max() == 0.0
    assert 5.9 < mould_index(temperature, np.full(hours, 100.0))[-1] <= 6.0
    gap = np.full(hours, 100.0)
    gap[500:900] = np.nan
    index = mould_index(temperature, gap)
    assert index[899] == index[499]


def test_a_moist_warm_climate_never_says_the_bloom_is_over() -> None:
    """Why it has no say in the verdict: at 25 Cel and 95 %RH it rises to 5.1 and stays."""
    index = mould_index(np.full(24 * 180, 25.0), np.full(24 * 180, 95.0))

    assert (np.diff(index) >= 0.0).all()
    assert index[-1] == pytest.approx(5.125, abs=0.03)


def test_no_growth_in_frost_heat_or_dry_air() -> None:
    """Only between 0 and 50 Cel, from the critical humidity on."""
    at = np.array([-1.0, 0.0, 25.0, 25.0, 50.0])
    wet = np.array([100.0, 100.0, 79.9, 80.0, 100.0])

    assert grows(at, wet).tolist() == [False, False, False, True, False]
