"""Before and after: matched days, an interval that holds, and when nothing can be told."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from monitor.analysis.misting import Climate, Goal, Span, Spray, Taken, follow_up
from monitor.analysis.misting.followup import change, t_quantile
from monitor.times import DAY_MS
from tests.analysis.misting.plain import LIGHTS, START_MS, Air, story

GOAL = Goal(Span(60.0, 90.0), Span(60.0, 90.0), dry_below=75.0, dry_hours=4.0)
TAKEN = Taken(START_MS + 10 * DAY_MS + DAY_MS // 3, (Spray(dt.time(8), 10.0),))


def joined(before: Air, after: Air, days: int, seed: int = 0) -> Climate:
    """One record: an enclosure before and after it was misted otherwise."""
    first, second = story(10, before, seed).climate, story(days, after, 100 + seed).climate
    return Climate(
        np.concatenate([first.at_ms, second.at_ms + 10 * DAY_MS]),
        np.concatenate([first.temperature, second.temperature]),
        np.concatenate([first.humidity, second.humidity]),
    )


@pytest.mark.parametrize("df", [1, 2, 5, 13, 40])
def test_the_quantile_is_that_of_scipy(df: int) -> None:
    """One in twenty beyond it."""
    assert t_quantile(df) == pytest.approx(stats.t.ppf(0.95, df), abs=1e-6)


def test_more_mist_shows_in_the_time_in_range() -> None:
    """An enclosure that was too dry between mistings and is not any more."""
    dry = Air(misted_h=(9.0,), asymptote=11.0)
    moist = replace(dry, misted_h=tuple(np.arange(1.0, 24.0, 1.5)), dose=4.0)

    found = follow_up(joined(dry, moist, 9), None, LIGHTS, TAKEN, GOAL, START_MS + 19 * DAY_MS)

    assert found.cannot is None
    assert found.pairs >= 4
    assert found.time_in_range is not None
    assert found.time_in_range.low > 0.1
    assert found.says.startswith("it helped")


def test_no_change_is_told_as_none() -> None:
    """The same misting before and after, thirty times: at most one in five is told otherwise.

    The interval is one of 90 %, and without a probe in the room its weather cannot be matched.
    """
    found = [
        follow_up(joined(Air(), Air(), 9, seed), None, LIGHTS, TAKEN, GOAL, START_MS + 19 * DAY_MS)
        for seed in range(30)
    ]

    told = [each for each in found if each.time_in_range is not None]
    silent = [each for each in told if each.says.startswith("no difference can be told yet")]
    assert len(told) >= 27
    assert len(silent) >= 0.8 * len(told)


def test_too_few_days_cannot_be_compared() -> None:
    """Two days after, and it says how many pairs it takes."""
    found = follow_up(joined(Air(), Air(), 3), None, LIGHTS, TAKEN, GOAL, START_MS + 13 * DAY_MS)

    assert found.cannot is not None
    assert "it takes 4" in found.cannot
    assert found.time_in_range is None


def test_no_readings_cannot_be_compared() -> None:
    """An empty record is told as such."""
    found = follow_up(Climate.empty(), None, LIGHTS, TAKEN, GOAL, START_MS + 19 * DAY_MS)

    assert found.cannot == "there are no readings of temperature and humidity in this time"


@pytest.mark.parametrize(("phi", "count"), [(0.0, 7), (0.0, 14), (0.5, 8), (0.5, 14)])
def test_the_interval_holds_though_days_hang_together(phi: float, count: int) -> None:
    """Of 600 series of differences with a true mean, nine in ten intervals hold it, or near so."""
    rng = np.random.default_rng([8, count, round(10 * phi)])
    held = 0
    for _ in range(600):
        noise = np.empty(count)
        now = rng.standard_normal()
        for k in range(count):
            now = phi * now + np.sqrt(1.0 - phi * phi) * rng.standard_normal()
            noise[k] = now
        found = change(np.zeros(count), 0.3 + noise, phi)
        held += found.low <= 0.3 <= found.high

    assert held / 600 >= 0.86
