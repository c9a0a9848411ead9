"""Nights by the lamp timer.

The instants of the clock changes follow from the rules in the IANA time zone database (files
europe, australasia); the European one is also Directive 2000/84/EC: last Sundays of March and
October, 01:00 UTC.
"""

import datetime as dt
from itertools import pairwise

import pytest

from monitor.errors import NotFound
from monitor.setup.models import Enclosure
from monitor.setup.nights import last_night, night_of, nights_within
from monitor.times import DAY_MS, parse_rfc3339, rfc3339


def enclosure(on: str = "08:00", off: str = "20:00", zone: str = "Europe/Lisbon") -> Enclosure:
    """An enclosure with a lamp timer."""
    return Enclosure.model_validate(
        {"id": "box", "name": "Box", "timezone": zone, "lights_on": on, "lights_off": off}
    )


@pytest.mark.parametrize(
    ("on", "off", "date", "start", "end"),
    [
        ("08:00", "20:00", "2026-11-25", "2026-11-24T20:00:00Z", "2026-11-25T08:00:00Z"),
        ("08:00", "20:00", "2026-07-01", "2026-06-30T19:00:00Z", "2026-07-01T07:00:00Z"),
        # Spring: 01:00 becomes 02:00, the night is an hour shorter; in autumn an hour longer.
        ("08:00", "20:00", "2026-03-29", "2026-03-28T20:00:00Z", "2026-03-29T07:00:00Z"),
        ("08:00", "20:00", "2026-10-25", "2026-10-24T19:00:00Z", "2026-10-25T08:00:00Z"),
        # Lit by night: its night is our day, and ends on the day it begins.
        ("20:00", "08:00", "2026-11-25", "2026-11-25T08:00:00Z", "2026-11-25T20:00:00Z"),
        # Lights on at midnight: the night ends with the first instant of the new day.
        ("00:00", "12:00", "2026-11-25", "2026-11-24T12:00:00Z", "2026-11-25T00:00:00Z"),
        # Never switched: the keeper's night.
        ("06:00", "06:00", "2026-11-25", "2026-11-24T20:00:00Z", "2026-11-25T08:00:00Z"),
    ],
)
def test_a_night_is_named_by_the_day_it_ends(
    on: str, off: str, date: str, start: str, end: str
) -> None:
    """From lights off to lights on, also where the clock changes in between."""
    night = night_of(enclosure(on, off), dt.date.fromisoformat(date))

    assert (rfc3339(night.start_ms), rfc3339(night.end_ms)) == (start, end)
    assert night.date.isoformat() == date


def test_a_day_that_never_was_has_no_night() -> None:
    """Samoa skipped 30 December 2011 to change sides of the date line (IANA: australasia)."""
    samoa = enclosure(zone="Pacific/Apia")

    assert night_of(samoa, dt.date(2011, 12, 31)).date == dt.date(2011, 12, 31)
    with pytest.raises(NotFound, match="no night of 'box' ends on 2011-12-30"):
        night_of(samoa, dt.date(2011, 12, 30))


@pytest.mark.parametrize(
    ("now", "date"),
    [
        ("2026-11-25T07:30:00Z", "2026-11-25"),  # half an hour before it ends
        ("2026-11-25T12:00:00Z", "2026-11-25"),
        ("2026-11-25T21:00:00Z", "2026-11-25"),  # the next has only begun
        ("2026-11-26T01:59:00Z", "2026-11-25"),
        ("2026-11-26T02:00:00Z", "2026-11-26"),  # half of it is over
    ],
)
def test_the_last_night_is_the_one_that_is_mostly_over(now: str, date: str) -> None:
    """A morning report before lights on tells of the night that is ending."""
    night = last_night(enclosure(), parse_rfc3339(now))

    assert night.date.isoformat() == date


def test_a_year_of_nights_follows_without_gap() -> None:
    """Each day has one night, and there is a day between two nights."""
    start_ms = parse_rfc3339("2026-01-01T12:00:00Z")
    nights = nights_within(enclosure(), start_ms, start_ms + 364 * DAY_MS)

    first = dt.date(2026, 1, 2)
    assert [night.date for night in nights] == [first + dt.timedelta(n) for n in range(364)]
    assert all(a.end_ms < b.start_ms for a, b in pairwise(nights))
