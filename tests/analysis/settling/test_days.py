"""Local days, also those on which the clock is changed."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.analysis.settling import Samples
from monitor.analysis.settling.days import BIN_MS, Days, held, midnight_ms
from monitor.times import HOUR_MS

LISBON = ZoneInfo("Europe/Lisbon")
UTC = ZoneInfo("UTC")
SPRING, AUTUMN = dt.date(2026, 3, 29), dt.date(2026, 10, 25)


@pytest.mark.parametrize(("date", "hours"), [(SPRING, 23), (AUTUMN, 25), (dt.date(2026, 7, 1), 24)])
def test_days_are_as_long_as_the_clock_makes_them(date: dt.date, hours: int) -> None:
    """A day of 23 or 25 hours has so many, and only a day of 24 is usual."""
    days = Days.between(date, date, LISBON)

    assert len(days) == 1
    assert len(days.day) * BIN_MS == hours * HOUR_MS
    assert days.usual.tolist() == [hours == 24]
    assert days.hour.min() == 0
    assert days.hour.max() == min(hours, 24) - 1


def test_every_bin_belongs_to_the_local_day_it_lies_in() -> None:
    """Over a year of a zone with both changes of the clock."""
    days = Days.between(dt.date(2026, 1, 1), dt.date(2026, 12, 31), LISBON)

    sampled = slice(None, None, 37)
    told = [days.first + int(day) * dt.timedelta(days=1) for day in days.day[sampled]]

    theirs = [
        dt.datetime.fromtimestamp(at / 1000, LISBON).date() for at in days.bin_ms[sampled].tolist()
    ]
    assert told == theirs


def test_a_skipped_midnight_begins_with_the_jump() -> None:
    """In Beirut the clock goes from 00:00 to 01:00; the day before has 24 hours all the same."""
    beirut = ZoneInfo("Asia/Beirut")
    jump = dt.date(2026, 3, 29)
    days = Days.between(jump - dt.timedelta(days=1), jump, beirut)

    assert np.diff(days.edge_ms).tolist() == [24 * HOUR_MS, 23 * HOUR_MS]


def test_no_days_at_all() -> None:
    """A build that was closed today has no whole day yet."""
    days = Days.between(dt.date(2026, 5, 2), dt.date(2026, 5, 1), UTC)

    assert len(days) == 0
    assert days.ahead(3) == dt.date(2026, 5, 5)
    assert days.binned(Samples(np.array([1], dtype=np.int64), np.array([1.0]))).size == 0


def test_order_and_repeats_do_not_matter() -> None:
    """Readings twice over and shuffled give the same means; those outside and NaN are left out."""
    days = Days.between(dt.date(2026, 5, 1), dt.date(2026, 5, 2), UTC)
    rng = np.random.default_rng(1)
    at = midnight_ms(days.first, UTC) + rng.integers(-HOUR_MS, 50 * HOUR_MS, 3000)
    value = rng.uniform(20.0, 25.0, 3000)
    once = days.binned(Samples(at, value))

    order = rng.permutation(6001)
    again = days.binned(
        Samples(
            np.append(np.tile(at, 2), at[:1])[order], np.append(np.tile(value, 2), np.nan)[order]
        )
    )

    assert np.array_equal(np.isnan(once), np.isnan(again))
    assert again == pytest.approx(once, nan_ok=True)
    assert 20.0 <= np.nanmin(once) <= np.nanmax(once) <= 25.0


def test_short_gaps_are_held_long_ones_are_not() -> None:
    """A value stands for so many bins after its own, and nothing stands before the first."""
    values = np.array([np.nan, 1.0, np.nan, np.nan, np.nan, 2.0, np.nan])

    assert held(values, 2) == pytest.approx([np.nan, 1.0, 1.0, 1.0, np.nan, 2.0, 2.0], nan_ok=True)


def test_an_hour_counts_if_half_of_it_is_known() -> None:
    """Half an hour of readings makes an hour, twenty-five minutes do not."""
    days = Days.between(dt.date(2026, 5, 1), dt.date(2026, 5, 1), UTC)
    values = np.full(288, np.nan)
    values[:6] = 4.0
    values[12:17] = 4.0

    hourly = days.hourly(values)

    assert hourly[0, 0] == 4.0
    assert np.isnan(hourly[0, 1:]).all()
