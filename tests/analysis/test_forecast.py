"""When a limit will be crossed."""

import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.analysis.causes import History
from monitor.analysis.forecast import Forecast, LimitAhead, forecast
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339
from tests.analysis.records import NOW_MS, Column

UTC = ZoneInfo("UTC")


def course(hours: Column) -> Column:
    """%RH: 80 at 06:00, 40 at 18:00, straight in between."""
    return 80.0 - 40.0 * np.abs((hours - 6.0 + 12.0) % 24.0 - 12.0) / 12.0


def days(
    now_ms: int = NOW_MS, *, count: float = 8.0, spread: float = 1.0, seed: int = 8
) -> History:
    """Days of that course, with unrest of so many %RH that lasts for hours."""
    at_ms = np.arange(now_ms - round(count * DAY_MS), now_ms + 1, 60_000, dtype=np.int64)
    three_h = (at_ms - at_ms[0]) / (3.0 * HOUR_MS)
    knots = np.random.default_rng(seed).standard_normal(int(three_h[-1]) + 2)
    unrest = spread * np.interp(three_h, np.arange(len(knots)), knots)
    humidity = course((at_ms % DAY_MS) / HOUR_MS) + unrest
    return History(at_ms, np.full(len(at_ms), 24.0), humidity)


def low(limit: float, history: History | None = None, now_ms: int = NOW_MS) -> Forecast:
    """The forecast for one lower limit."""
    history = days(now_ms) if history is None else history
    return forecast(history, now_ms, [LimitAhead(now_ms, low=limit)], UTC, low=True)


def hours(at_ms: int | None) -> float:
    """After now."""
    assert at_ms is not None
    return (at_ms - NOW_MS) / HOUR_MS


def test_a_daily_course_is_foreseen() -> None:
    """At 15:00 it stands at 50 and falls 3.33 an hour: 45 comes at 16:30, more or less."""
    found = low(45.0, days(spread=0.2))

    assert hours(found.not_before_ms) < 1.5 < hours(found.not_after_ms)
    assert hours(found.likely_ms) == pytest.approx(1.5, abs=0.1)
    assert hours(found.not_after_ms) - hours(found.not_before_ms) < 0.6
    assert re.fullmatch(r"between 1[56]:\d\d and 1[67]:\d\d", found.says)


def test_intervals_hold_four_fifths_of_what_comes() -> None:
    """Over 360 records that differ by chance alone, 80 % intervals hold the crossing in 80 %."""
    held = []
    for seed in range(360):
        limit, spread = (42.0, 45.0)[seed % 2], (1.0, 2.0, 3.0)[seed % 3]
        whole = days(NOW_MS + 12 * HOUR_MS, count=8.5, spread=spread, seed=seed)
        if whole.humidity[whole.at_ms <= NOW_MS][-1] < limit:
            continue
        found = low(limit, whole)
        below = (whole.at_ms > NOW_MS) & (whole.humidity < limit)
        came_ms = int(whole.at_ms[np.argmax(below)]) if below.any() else np.inf
        held.append((found.not_before_ms or np.inf) <= came_ms <= (found.not_after_ms or np.inf))

    assert len(held) > 300
    assert np.mean(held) == pytest.approx(0.8, abs=0.06)


def test_days_alike_make_a_narrow_interval() -> None:
    """The more days differ, the wider it is."""
    widths = []
    for spread in (0.2, 1.5):
        found = low(45.0, days(spread=spread))
        widths.append(hours(found.not_after_ms) - hours(found.not_before_ms))

    assert widths[0] < 0.6 < widths[1]


def test_what_is_never_reached_is_not_expected() -> None:
    """A limit far below the course of every day has no time."""
    assert low(20.0) == Forecast(None, None, None, "not expected within 12 h")


def test_the_nearer_a_limit_the_sooner_and_surer() -> None:
    """From a limit no day reaches to one all do: nothing, then 'not before', then an interval."""
    found = [low(limit) for limit in np.arange(36.0, 46.0, 0.25)]

    surer = [[not f.not_before_ms, not f.not_after_ms].count(False) for f in found]
    assert surer == sorted(surer)
    assert set(surer) == {0, 1, 2}
    times = [phrase.not_before_ms for phrase in found if phrase.not_before_ms is not None]
    assert times == sorted(times, reverse=True)


def test_the_upper_limit_is_another_matter() -> None:
    """In the morning the same course rises; what has no upper limit never crosses it."""
    now_ms = NOW_MS - 13 * HOUR_MS
    history = days(now_ms, spread=0.2)
    limits = [LimitAhead(now_ms, high=75.0)]

    risen = forecast(history, now_ms, limits, UTC, low=False)

    assert risen.likely_ms is not None
    assert (risen.likely_ms - now_ms) / HOUR_MS == pytest.approx(2.5, abs=0.2)
    assert forecast(history, now_ms, limits, UTC, low=True).not_before_ms is None


def test_limits_change_with_the_light() -> None:
    """A night limit counts from when it holds: at 20:00 the course is already below it."""
    night_ms = NOW_MS + 5 * HOUR_MS
    limits = [LimitAhead(NOW_MS, low=30.0), LimitAhead(night_ms, low=60.0)]

    found = forecast(days(), NOW_MS, limits, UTC, low=True)

    assert hours(found.likely_ms) == pytest.approx(5.0, abs=0.2)


def test_a_run_is_expected_sooner_than_the_usual_course() -> None:
    """Falling 6 %RH an hour faster than on any other day: within the hour, not in the evening."""
    usual = days()
    fallen = replace(usual, humidity=usual.humidity - 6.0 * np.maximum(0.0, 1.0 - ago(usual)))

    found = low(37.0, fallen)

    assert low(37.0, usual).not_before_ms is None
    assert 0.0 < hours(found.not_before_ms) < 1.0


def ago(history: History) -> Column:
    """Hours before now of each reading."""
    return np.asarray((NOW_MS - history.at_ms) / HOUR_MS)


def test_a_departure_fades() -> None:
    """Six %RH drier than usual for ten minutes: the crossing comes sooner, not six %RH sooner."""
    usual = days(spread=0.5)
    dry = replace(usual, humidity=usual.humidity - 5.0 * (ago(usual) < 10.0))

    sooner, later = low(40.0, dry), low(40.0, usual)

    assert sooner.likely_ms is not None
    assert 0.5 < hours(sooner.likely_ms) < 2.9
    assert later.likely_ms is None or later.likely_ms > sooner.likely_ms


@pytest.mark.parametrize(
    ("history", "says"),
    [
        (days(), "beyond the limit now"),
        (days(count=1.0), "needs two full days"),
        (days().between(0, NOW_MS - 2 * HOUR_MS), "no recent reading"),
        (History(np.empty(0, np.int64), np.empty(0), np.empty(0)), "no recent reading"),
    ],
)
def test_what_cannot_be_told_is_not_told(history: History, says: str) -> None:
    """No present, no past, or an alarm that has come already."""
    limit = 60.0 if says.startswith("beyond") else 30.0

    found = low(limit, history)

    assert (found.not_before_ms, found.likely_ms, found.not_after_ms) == (None, None, None)
    assert says in found.says


def test_times_are_told_by_the_wall_clock() -> None:
    """In Adelaide it is ten and a half hours later."""
    found = forecast(
        days(), NOW_MS, [LimitAhead(NOW_MS, low=45.0)], ZoneInfo("Australia/Adelaide"), low=True
    )

    assert re.fullmatch(r"between 0[123]:\d\d and 0[234]:\d\d", found.says)


def test_the_same_hour_follows_the_wall_clock() -> None:
    """Summer time began last night (Lisbon, 29 March 2026): the day runs an hour earlier in UTC."""
    now_ms = parse_rfc3339("2026-03-29T14:00:00Z")
    like = days(now_ms, spread=0.3)
    summer = like.at_ms >= parse_rfc3339("2026-03-29T01:00:00Z")
    local = (like.at_ms + summer * HOUR_MS) % DAY_MS / HOUR_MS
    history = replace(like, humidity=course(local))

    found = forecast(
        history, now_ms, [LimitAhead(now_ms, low=45.0)], ZoneInfo("Europe/Lisbon"), low=True
    )

    assert found.likely_ms is not None
    assert (found.likely_ms - now_ms) / MINUTE_MS == pytest.approx(90.0, abs=10.0)


def test_later_readings_do_not_count() -> None:
    """The past is forecast as it would have been."""
    whole = days(NOW_MS + 6 * HOUR_MS)
    known = whole.between(0, NOW_MS)

    assert low(45.0, whole) == low(45.0, known)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.one_of(st.just(np.nan), st.floats(0.0, 100.0)), min_size=1, max_size=40),
    st.floats(0.05, 8.0),
    st.floats(0.0, 100.0),
    st.booleans(),
)
def test_whatever_is_recorded_gets_an_answer(
    values: list[float], step_h: float, limit: float, is_low: bool
) -> None:
    """No record raises, and what is given is in order and not in the past."""
    spread = np.resize(values, 200)
    at_ms = NOW_MS - np.round(step_h * HOUR_MS * np.arange(200)[::-1]).astype(np.int64)
    limits = [LimitAhead(NOW_MS, low=limit, high=limit)]

    found = forecast(History(at_ms, spread, spread), NOW_MS, limits, UTC, low=is_low)

    times = [found.not_before_ms, found.likely_ms, found.not_after_ms]
    given_times = [at for at in times if at is not None]
    assert given_times == sorted(given_times)
    assert all(at >= NOW_MS for at in given_times)
    assert found.says
