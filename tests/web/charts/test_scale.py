"""Round numbers, and ticks on the clock of an enclosure."""

from zoneinfo import ZoneInfo

import pytest

from monitor.times import DAY_MS, HOUR_MS, parse_rfc3339
from monitor.web.charts.scale import instants, linear, round_numbers, time_ticks, widened

LISBON = ZoneInfo("Europe/Lisbon")
NOON_MS = parse_rfc3339("2026-11-25T12:00:00Z")


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (43.2, 101.0, [60, 80, 100]),
        (0.07, 1.7, [0.5, 1.0, 1.5]),
        (-3, 3, [-2, 0, 2]),
        (20.0, 20.5, [20.0, 20.2, 20.4]),
    ],
)
def test_round_numbers(low: float, high: float, expected: list[float]) -> None:
    """About three numbers that one would write on an axis by hand, all within it."""
    assert round_numbers(low, high, 3) == pytest.approx(expected)


def test_a_scale_goes_from_end_to_end() -> None:
    """Also upside down, as heights do."""
    upside_down = linear(10, 30, 100, 0)
    assert [upside_down(value) for value in (10, 15, 30)] == [100, 75, 0]


def test_a_flat_course_is_not_blown_up() -> None:
    """A tenth of a degree does not fill the height."""
    low, high = widened(20.0, 20.1, 4.0)
    assert high - low == pytest.approx(4.32)
    assert low < 20.0 < 20.1 < high


def test_a_day_has_hours_and_midnight_its_date() -> None:
    """Every fourth hour by the wall clock; the new day is named."""
    ticks = time_ticks(LISBON, NOON_MS - DAY_MS, NOON_MS, 6)
    assert [tick.says for tick in ticks] == [
        *("12:00", "16:00", "20:00"),
        *("25 Nov", "04:00", "08:00", "12:00"),
    ]
    assert ticks[0].at == 0
    assert ticks[-1].at == 100


def test_hours_stay_on_the_wall_clock_when_it_is_set_back() -> None:
    """25 October 2026 has 25 hours in Lisbon: ticks are five hours apart where it happens."""
    start_ms = parse_rfc3339("2026-10-24T23:00:00Z")  # midnight there
    ticks = instants(LISBON, start_ms, start_ms + DAY_MS, 6)
    assert [says for _, says in ticks] == ["25 Oct", "04:00", "08:00", "12:00", "16:00", "20:00"]
    assert ticks[1][0] - ticks[0][0] == 5 * HOUR_MS


@pytest.mark.parametrize(
    ("days", "expected"),
    [(7, "24 Nov"), (30, "22 Nov"), (365, "Oct"), (3650, "2026")],
)
def test_longer_spans_have_days_months_years(days: int, expected: str) -> None:
    """A handful of ticks whatever the span."""
    ticks = time_ticks(LISBON, NOON_MS - days * DAY_MS, NOON_MS, 6)
    assert 3 <= len(ticks) <= 9
    assert ticks[-1].says == expected
