"""The nights of an enclosure: by its lamp timer, each named by the date on which it ends."""

import datetime as dt
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.errors import NotFound
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure
from monitor.times import DAY_MS

USUAL_DAY = (dt.time(8), dt.time(20))
"""Where the lamp is never switched the keeper's night counts (common practice, no source)."""


class Night(NamedTuple):
    """From lights off up to, not at, lights on; epoch milliseconds UTC."""

    date: dt.date
    """The day, on the enclosure's clock, on which it ends."""
    start_ms: int
    end_ms: int


def nights_within(enclosure: Enclosure, start_ms: int, end_ms: int) -> list[Night]:
    """The nights that touch the span from ``start_ms`` up to ``end_ms``, whole, in order."""
    zone = enclosure.zone_info
    edges, days = _lamp(enclosure, zone).segments(start_ms, end_ms - 1)
    ends = edges.tolist()
    return [
        Night(_date(end, zone), start, end)
        for start, end, day in zip(ends, ends[1:], days.tolist(), strict=False)
        if not day
    ]


def night_of(enclosure: Enclosure, date: dt.date) -> Night:
    """The night that ends on a day.

    Raises:
        NotFound: none does, where a time zone changed sides of the date line.
    """
    noon = dt.datetime.combine(date, dt.time(12), enclosure.zone_info)
    noon_ms = round(noon.timestamp() * 1000)
    for night in nights_within(enclosure, noon_ms - DAY_MS, noon_ms + DAY_MS):
        if night.date == date:
            return night
    raise NotFound(f"no night of {enclosure.id!r} ends on {date}")


def last_night(enclosure: Enclosure, now_ms: int) -> Night:
    """The newest night of which half or more is over.

    So a report half an hour before lights on tells of the night that is ending, and a look in the
    evening tells of the last one and not of the hour since lights off.
    """
    begun = nights_within(enclosure, now_ms - 3 * DAY_MS, now_ms)
    return next(night for night in reversed(begun) if night.start_ms + night.end_ms <= 2 * now_ms)


def _lamp(enclosure: Enclosure, zone: ZoneInfo) -> Daylight:
    on, off = enclosure.lights_on, enclosure.lights_off
    return Daylight(*(USUAL_DAY if on == off else (on, off)), zone)


def _date(at_ms: int, zone: ZoneInfo) -> dt.date:
    return dt.datetime.fromtimestamp(at_ms / 1000, zone).date()
