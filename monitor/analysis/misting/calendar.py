"""A schedule as an iCalendar stream (RFC 5545), for phones and for timers that read one.

Every misting is an event that comes daily by the enclosure's wall clock. It ends after some weeks:
a schedule made of two weeks' log is not for ever.
"""

import datetime as dt
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from monitor.analysis.misting.schedule import Schedule

WEEKS = 8
LINE_OCTETS = 75
"""Longest content line, without its end (RFC 5545, 3.1)."""
CRLF = "\r\n"
_DAY = dt.timedelta(days=1)
_SECOND = dt.timedelta(seconds=1)


def calendar(
    schedule: Schedule, enclosure_id: str, name: str, zone: ZoneInfo, start: dt.date, now_ms: int
) -> str:
    """The schedule from a day on, once a day for eight weeks.

    Args:
        schedule: the mistings of every day.
        enclosure_id: goes into the identity of the events, so that a second import doubles none.
        name: what the enclosure is called.
        zone: the enclosure's.
        start: the first day.
        now_ms: when this is written.
    """
    stamp = f"{dt.datetime.fromtimestamp(now_ms // 1000, dt.UTC):%Y%m%dT%H%M%SZ}"
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//dewkeep//misting plan//EN",
        "CALSCALE:GREGORIAN",
    ]
    if schedule:
        lines += _zone_lines(zone, start, start + dt.timedelta(weeks=WEEKS) + _DAY)
    for spray in schedule:
        says = f"Mist {name} for {spray.seconds:g} s"
        lines += [
            "BEGIN:VEVENT",
            f"UID:misting-{enclosure_id}-{start:%Y%m%d}-{spray.at:%H%M%S}@dewkeep",
            f"DTSTAMP:{stamp}",
            f"DTSTART;TZID={zone.key}:{start:%Y%m%d}T{spray.at:%H%M%S}",
            f"DURATION:PT{max(1, round(spray.seconds))}S",
            f"RRULE:FREQ=DAILY;COUNT={7 * WEEKS}",
            f"SUMMARY:{escaped(says)}",
            "TRANSP:TRANSPARENT",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(part + CRLF for line in lines for part in folded(line))


def escaped(text: str) -> str:
    """A text as the value of a property (RFC 5545, 3.3.11)."""
    for character in ("\\", ";", ","):
        text = text.replace(character, "\\" + character)
    return text.replace("\n", "\\n")


def folded(line: str) -> Iterator[str]:
    """A content line in pieces of at most 75 octets, all but the first begun with a space."""
    piece, room = "", LINE_OCTETS
    for character in line:
        octets = len(character.encode())
        if octets > room:
            yield piece
            piece, room = " ", LINE_OCTETS - 1
        piece += character
        room -= octets
    yield piece


def _zone_lines(zone: ZoneInfo, start: dt.date, end: dt.date) -> Iterator[str]:
    """The time zone as far as it is needed: the offset at first and each change until the end."""
    yield from ("BEGIN:VTIMEZONE", f"TZID:{zone.key}")
    now = dt.datetime.combine(start, dt.time(), dt.UTC) - _DAY
    yield from _observance(zone, now, now)
    last = dt.datetime.combine(end, dt.time(), dt.UTC) + _DAY
    while now < last:
        if _offset(zone, now) != _offset(zone, now + _DAY):
            change = _change(zone, now, now + _DAY)
            yield from _observance(zone, change - _SECOND, change)
        now += _DAY
    yield "END:VTIMEZONE"


def _observance(zone: ZoneInfo, before: dt.datetime, at: dt.datetime) -> Iterator[str]:
    """What holds from a time on, after what held just before it."""
    kind = "DAYLIGHT" if at.astimezone(zone).dst() else "STANDARD"
    old = _offset(zone, before)
    yield from (
        f"BEGIN:{kind}",
        f"DTSTART:{at + old:%Y%m%dT%H%M%S}",
        f"TZOFFSETFROM:{_written(old)}",
        f"TZOFFSETTO:{_written(_offset(zone, at))}",
        f"TZNAME:{escaped(at.astimezone(zone).tzname() or zone.key)}",
        f"END:{kind}",
    )


def _change(zone: ZoneInfo, before: dt.datetime, after: dt.datetime) -> dt.datetime:
    """The first second between two times at which the zone's offset is a new one."""
    old = _offset(zone, before)
    while after - before > _SECOND:
        middle = before + (after - before) // 2
        middle = middle.replace(microsecond=0)
        before, after = (middle, after) if _offset(zone, middle) == old else (before, middle)
    return after


def _offset(zone: ZoneInfo, at: dt.datetime) -> dt.timedelta:
    return at.astimezone(zone).utcoffset() or dt.timedelta()


def _written(offset: dt.timedelta) -> str:
    seconds = round(offset.total_seconds())
    sign = "-" if seconds < 0 else "+"
    hours, rest = divmod(abs(seconds), 3600)
    minutes, seconds = divmod(rest, 60)
    return f"{sign}{hours:02d}{minutes:02d}" + (f"{seconds:02d}" if seconds else "")
