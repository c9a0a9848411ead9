"""Local time over arrays, where clocks change too."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.simulation import wall_clock

LISBON = ZoneInfo("Europe/Lisbon")
ADELAIDE = ZoneInfo("Australia/Adelaide")


def ms(text: str) -> int:
    """Epoch milliseconds of an ISO time."""
    return round(dt.datetime.fromisoformat(text).timestamp() * 1000)


@pytest.mark.parametrize(
    ("clock", "utc", "local"),
    [
        (LISBON, "2026-01-10T12:00:00+00:00", "12:00:00"),
        (LISBON, "2026-07-10T23:30:15+00:00", "00:30:15"),
        (LISBON, "2026-03-29T00:59:59+00:00", "00:59:59"),
        (LISBON, "2026-03-29T01:00:00+00:00", "02:00:00"),
        (LISBON, "2026-10-25T00:59:59+00:00", "01:59:59"),
        (LISBON, "2026-10-25T01:00:00+00:00", "01:00:00"),
        (ADELAIDE, "2026-07-10T12:00:00+00:00", "21:30:00"),
    ],
)
def test_local_time_of_day(clock: ZoneInfo, utc: str, local: str) -> None:
    """Seconds since local midnight, before and after the clocks change."""
    told = float(wall_clock.seconds_of_day(np.array([ms(utc)]), clock)[0])
    expected = dt.time.fromisoformat(local)
    assert told == 3600 * expected.hour + 60 * expected.minute + expected.second


@pytest.mark.parametrize(
    ("on", "off", "hours"),
    [
        (dt.time(8), dt.time(20), {8, 12, 19}),
        (dt.time(20), dt.time(6), {20, 23, 0, 5}),
        (dt.time(8), dt.time(8), set()),
    ],
)
def test_between_takes_the_first_and_leaves_the_last(
    on: dt.time, off: dt.time, hours: set[int]
) -> None:
    """A span includes its start, not its end, and may run over midnight."""
    asked = (0, 5, 6, 7, 8, 12, 19, 20, 23)
    seconds = np.array([hour * 3600.0 for hour in asked])
    inside = wall_clock.between(seconds, on, off)
    assert {hour for hour, lies in zip(asked, inside, strict=True) if lies} == hours


def test_a_daily_time_keeps_to_the_wall_clock() -> None:
    """Half past seven comes once a day, though one of the days has only 23 hours."""
    found = wall_clock.occurrences(
        (dt.time(7, 30),), LISBON, ms("2026-03-28T00:00+00:00"), ms("2026-03-31T00:00+00:00")
    )
    assert found == [
        ms("2026-03-28T07:30+00:00"),
        ms("2026-03-29T07:30+01:00"),
        ms("2026-03-30T07:30+01:00"),
    ]


def test_occurrences_take_the_start_and_leave_the_end() -> None:
    """Adjoining stretches share no occurrence and lose none."""
    times = (dt.time(23, 59), dt.time(0))
    start, middle, end = (ms(f"2026-05-{day:02}T00:00+01:00") for day in (1, 3, 5))
    whole = wall_clock.occurrences(times, LISBON, start, end)
    parts = wall_clock.occurrences(times, LISBON, start, middle)
    assert whole == parts + wall_clock.occurrences(times, LISBON, middle, end)
    assert len(whole) == 8
    assert whole[0] == start
