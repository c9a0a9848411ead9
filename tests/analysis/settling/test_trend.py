"""Trends and approaches of daily series."""

import numpy as np
import pytest

from monitor.analysis.settling import Result
from monitor.analysis.settling.build import Floats
from monitor.analysis.settling.climate import Daily
from monitor.analysis.settling.trend import approach_at, days_needed, time_constant_at, trend_at
from monitor.quantities import Quantity
from monitor.species.settling import SettlingLimits

LIMITS = SettlingLimits()
RH = Quantity.HUMIDITY


def scatter(days: int, spread: float, seed: int = 1) -> Floats:
    """Independent days."""
    return spread * np.random.default_rng(seed).standard_normal(days)


def daily(value: Floats, room: Floats | None = None, second_from: int | None = None) -> Daily:
    """A series, perhaps with a room beside it, perhaps from a second probe from some day on."""
    days = len(value)
    source = np.zeros(days, dtype=np.int64)
    source[second_from if second_from is not None else days :] = 1
    return Daily(value, source, np.empty((0, days)) if room is None else room)


def result(series: Daily, end: int) -> Result | None:
    """What a trend amounts to."""
    trend = trend_at(series, end, RH, LIMITS)
    return trend.result if trend else None


def test_a_quiet_series_is_even_after_three_weeks_and_not_before() -> None:
    """Twenty days tell nothing, twenty-one do."""
    series = daily(70.0 + scatter(40, 0.3))

    assert trend_at(series, 20, RH, LIMITS) is None
    assert result(series, 21) is Result.PASS


def test_a_clear_drift_fails() -> None:
    """A drift of twice the limit is told as one."""
    assert result(daily(0.8 * np.arange(40) + scatter(40, 0.3)), 30) is Result.FAIL


@pytest.mark.parametrize("spread", [3.0, 8.0])
def test_noise_is_unknown_never_even(spread: float) -> None:
    """A short record whose days differ much is not called even, however flat it lies."""
    flat = scatter(28, spread)
    flat -= np.polyval(np.polyfit(np.arange(28), flat, 1), np.arange(28))

    assert result(daily(flat), 28) is Result.UNKNOWN


def test_more_days_are_asked_for_where_they_differ_more() -> None:
    """Three weeks, up to six, as the spread grows against the limit; the steps are whole weeks."""
    asked = [days_needed(spread, 0.4, LIMITS) for spread in (0.1, 1.33, 1.34, 2.2, 3.0, 9.0)]

    assert asked == [21, 21, 28, 35, 42, 42]


def test_an_outlier_does_not_make_a_drift() -> None:
    """One day at which the lid stood open changes the slope by a small part of the limit."""
    quiet = 70.0 + scatter(21, 0.4)
    spoilt = quiet.copy()
    spoilt[19] -= 25.0

    slopes = [trend_at(daily(each), 21, RH, LIMITS) for each in (quiet, spoilt)]

    assert slopes[0] is not None
    assert slopes[1] is not None
    assert abs(slopes[1].estimate.value - slopes[0].estimate.value) < 0.1


def test_a_second_probe_with_another_level_is_no_drift() -> None:
    """A probe that reads 12 %RH higher than the one it replaced leaves the slope as it was."""
    value = 70.0 + scatter(30, 0.3)
    value[15:] += 12.0

    assert result(daily(value, second_from=15), 30) is Result.PASS
    assert result(daily(value), 30) is not Result.PASS


def test_a_drift_is_seen_across_two_probes() -> None:
    """Levels of their own do not hide what both probes see."""
    value = 0.9 * np.arange(30) + scatter(30, 0.3)
    value[15:] -= 10.0

    found = trend_at(daily(value, second_from=15), 30, RH, LIMITS)

    assert found is not None
    assert found.estimate.value == pytest.approx(0.9, abs=0.15)
    assert found.result is Result.FAIL


def room_of(days: int) -> Floats:
    """The weather of a room, and what it does to temperature (Cel) and vapour pressure (kPa)."""
    rng = np.random.default_rng(3)
    course = np.zeros((2, days))
    for day in range(1, days):
        course[:, day] = 0.7 * course[:, day - 1] + 0.7 * rng.standard_normal(2)
    return np.array([[20.0], [1.1]]) + np.array([[1.0], [0.1]]) * course


def test_what_the_room_does_is_not_the_unrest_of_the_build() -> None:
    """Days that differ by 3 %RH with the weather tell nothing alone, and much beside the room."""
    room = room_of(28)
    value = 70.0 - 2.0 * (room[0] - 20.0) + 20.0 * (room[1] - 1.1) + scatter(28, 0.3)

    alone, beside = daily(value), daily(value, room)

    assert result(alone, 28) is not Result.PASS
    assert result(beside, 28) is Result.PASS
    found = trend_at(beside, 28, RH, LIMITS)
    assert found is not None
    assert found.estimate.spread < 0.5


def test_a_build_that_drifts_with_its_room_is_not_even() -> None:
    """Autumn in the room explains the drift, and yet nobody calls it even."""
    room = room_of(28)
    room[1] += 0.1 * np.arange(28)
    value = 70.0 + 20.0 * (room[1] - 1.1) + scatter(28, 0.3)

    assert abs(np.polyfit(np.arange(21), value[7:], 1)[0]) > 1.0
    assert result(daily(value, room), 28) is not Result.PASS


def test_a_room_that_was_measured_too_rarely_is_left_out() -> None:
    """With half of the room's days missing, the build's own days are judged as if alone."""
    value = 70.0 + scatter(21, 0.3)
    room = room_of(21)
    room[:, ::2] = np.nan

    alone, beside = (trend_at(each, 21, RH, LIMITS) for each in (daily(value), daily(value, room)))

    assert alone is not None
    assert beside is not None
    assert beside.estimate.value == alone.estimate.value


def test_a_window_with_too_many_holes_tells_nothing() -> None:
    """Sixteen of twenty-one days are too few, seventeen are enough."""
    value = 70.0 + scatter(21, 0.2)
    value[[2, 5, 8, 11]] = np.nan
    assert result(daily(value), 21) is Result.PASS

    value[14] = np.nan
    assert trend_at(daily(value), 21, RH, LIMITS) is None


@pytest.mark.parametrize("tau", [6.0, 13.0, 20.0])
def test_what_is_still_to_come_is_estimated(tau: float) -> None:
    """Of an approach to 60 %RH from 15 above, the rest and the time constant are found."""
    value = 60.0 + 15.0 * np.exp(-np.arange(30) / tau) + scatter(30, 0.1)
    left = 15.0 * np.exp(-29 / tau)

    found = approach_at(daily(value), 30, LIMITS)

    assert found is not None
    low, high = found.estimate.interval(0.02)
    assert low < left < high
    assert found.estimate.value == pytest.approx(left, rel=0.15, abs=0.1)
    assert found.tau == pytest.approx(tau, rel=0.3)
    assert found.result is (Result.FAIL if left > 1.5 else Result.PASS)


def test_even_is_not_finished() -> None:
    """An approach may be even, by less than 0.4 %RH a day, with 4 %RH still to come."""
    series = daily(60.0 + 10.0 * np.exp(-np.arange(28) / 30.0) + scatter(28, 0.1))

    assert result(series, 28) is Result.PASS
    approach = approach_at(series, 28, LIMITS)
    assert approach is not None
    assert approach.result is Result.FAIL


@pytest.mark.parametrize("seed", range(3))
def test_nothing_changes_by_adding_a_constant_or_mirroring(seed: int) -> None:
    """Level and sign of a quantity do not matter to how sure one is."""
    value = 70.0 + scatter(25, 0.5, seed)
    trends = [trend_at(daily(each), 25, RH, LIMITS) for each in (value, value - 30.0, -value)]

    first, lower, mirrored = (trend.estimate for trend in trends if trend)
    assert lower.value == pytest.approx(first.value, abs=1e-9)
    assert mirrored.interval(0.01) == pytest.approx(
        [-each for each in reversed(first.interval(0.01))], abs=1e-6
    )


def test_the_time_constant_of_each_quantity_is_found() -> None:
    """Also in kPa, where a sensor's floor is small."""
    value = 2.0 + 0.4 * np.exp(-np.arange(30) / 9.0) + scatter(30, 0.002)

    tau = time_constant_at(daily(value), 30, Quantity.VAPOUR_PRESSURE, LIMITS)

    assert tau == pytest.approx(9.0, rel=0.3)
    assert time_constant_at(daily(value), 20, Quantity.VAPOUR_PRESSURE, LIMITS) is None


def test_a_bend_is_not_taken_for_an_approach() -> None:
    """Soil that kept the air moist for three weeks and then dried is judged by the days since."""
    day = np.arange(66)
    value = 50.0 + 25.0 / (1.0 + np.exp((day - 24.0) / 1.5)) + scatter(66, 0.2)
    before_and_after = daily(value)

    assert result(before_and_after, 60) is Result.PASS
    found = approach_at(before_and_after, 60, LIMITS)
    assert found is not None
    assert found.result is Result.PASS
    assert found.estimate.df <= 42 - 2
