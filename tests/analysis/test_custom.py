"""What is customary about this hour."""

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.analysis.causes import Evidence, Side
from monitor.analysis.causes.custom import Custom, custom, missed_mistings
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339
from tests.analysis.records import NOW_MS, record, since


@pytest.mark.parametrize(
    ("limit", "side", "crossed"),
    [(99.0, Side.LOW, 7), (10.0, Side.LOW, 0), (10.0, Side.HIGH, 7), (99.0, Side.HIGH, 0)],
)
def test_earlier_days_are_counted_on_the_side_of_the_alarm(
    limit: float, side: Side, crossed: int
) -> None:
    """Each earlier day counts once if it was beyond the limit about this hour."""
    usage = custom(Evidence(record(), since(0.5), NOW_MS, limit, side))

    assert (usage.days, usage.crossed) == (7, crossed)


def test_only_hours_near_this_one_count() -> None:
    """A limit that is crossed at noon of every day says nothing about the evening."""
    at_noon = record(vapour=lambda e, ago: np.where((ago % 24 > 5) & (ago % 24 < 8), 0.5 * e, e))

    usage = custom(Evidence(at_noon, since(0.5), NOW_MS, 40.0))

    assert (usage.days, usage.crossed) == (7, 0)


def test_days_of_the_alarm_itself_do_not_count() -> None:
    """An alarm that stands for two days does not make itself usual."""
    usage = custom(Evidence(record(), since(49.0), NOW_MS, 99.0))

    assert usage.days == 5


@pytest.mark.parametrize(
    ("usage", "often"),
    [(Custom(7, 3), True), (Custom(7, 2), False), (Custom(2, 2), True), (Custom(1, 1), False)],
)
def test_often_is_a_third_of_the_days_and_twice(usage: Custom, often: bool) -> None:
    """One crossing is never a custom."""
    assert usage.often is often


def daily(now_ms: int, hours: list[float], days: int = 8) -> list[int]:
    """Mistings so many hours before now, every day."""
    return [now_ms - day * DAY_MS - round(h * HOUR_MS) for day in range(days) for h in hours]


def missed(starts: list[int] | None, now_ms: int = NOW_MS, clock: str = "UTC") -> int | None:
    """Missed mistings at an alarm of half an hour's standing."""
    target = record(days=0.1, now_ms=now_ms)
    when = None if starts is None else tuple(starts)
    alarm = Evidence(
        target, now_ms - HOUR_MS // 2, now_ms, 60.0, misted_ms=when, clock=ZoneInfo(clock)
    )
    return missed_mistings(alarm)


def test_mistings_that_came_are_not_missed() -> None:
    """The usual number at the usual times, give or take ten minutes."""
    rng = np.random.default_rng(5)
    starts = [at + int(rng.integers(-5, 6)) * MINUTE_MS for at in daily(NOW_MS, [3.0, 9.0])]

    assert missed(starts) == 0


def test_mistings_that_did_not_come_are_counted() -> None:
    """Two were due since midnight, one came."""
    starts = [at for at in daily(NOW_MS, [3.0, 9.0]) if at < since(4.0)]

    assert missed(starts) == 1
    assert missed([at for at in starts if at < since(10.0)]) == 2


def test_a_mister_that_died_days_ago_still_is_missed() -> None:
    """Yesterday had none either; most days did."""
    assert missed([at for at in daily(NOW_MS, [3.0, 9.0]) if at < since(30.0)]) == 2


def test_what_came_once_is_not_expected() -> None:
    """A misting by hand on one day is no custom; one that is due in five minutes is not late."""
    once = [*daily(NOW_MS, [3.0]), NOW_MS - 2 * DAY_MS - 5 * HOUR_MS]

    assert missed(once) == 0
    assert missed([at for at in daily(NOW_MS, [3.0, -0.1]) if at <= NOW_MS]) == 0


def test_nothing_is_known_without_reports() -> None:
    """A mister that does not report cannot be missed, nor one without an earlier day."""
    assert missed(None) is None
    assert missed([]) is None
    assert missed([since(3.0)]) is None


def test_mistings_follow_the_wall_clock() -> None:
    """On the day the clock is set (Lisbon, 29 March 2026) the timer runs by it."""
    now_ms = parse_rfc3339("2026-03-29T11:00:00Z")
    before = [at + HOUR_MS for at in daily(now_ms, [4.0]) if at < now_ms - DAY_MS // 2]
    today = [now_ms - 4 * HOUR_MS]

    assert missed(before + today, now_ms, "Europe/Lisbon") == 0
    assert missed(before, now_ms, "Europe/Lisbon") == 1
