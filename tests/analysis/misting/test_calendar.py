"""Schedules as iCalendar, read back by the icalendar library, expanded by dateutil."""

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr
from icalendar import Calendar

from monitor.analysis.misting import Spray
from monitor.analysis.misting.calendar import calendar, escaped, folded

NOW_MS = 1_795_600_000_000
PLAN = (Spray(dt.time(8, 30), 12.0), Spray(dt.time(19), 20.5))
LISBON = ZoneInfo("Europe/Lisbon")


def written(
    name: str = "Cork cube", zone: ZoneInfo = LISBON, start: dt.date = dt.date(2026, 11, 26)
) -> str:
    """The plan as a stream."""
    return calendar(PLAN, "cork-cube", name, zone, start, NOW_MS)


def parts_of(stream: str, name: str) -> list[Any]:
    """Components of that name, as another reader finds them."""
    return list(Calendar.from_ical(stream).walk(name))


def test_another_reader_finds_the_mistings() -> None:
    """Start, length, words and stamp of each, in the enclosure's zone."""
    events = parts_of(written(), "VEVENT")

    assert [event["DTSTART"].dt for event in events] == [
        dt.datetime(2026, 11, 26, 8, 30, tzinfo=LISBON),
        dt.datetime(2026, 11, 26, 19, 0, tzinfo=LISBON),
    ]
    assert [event["DTSTART"].params["TZID"] for event in events] == ["Europe/Lisbon"] * 2
    assert [event["DURATION"].dt.total_seconds() for event in events] == [12, 20]
    assert events[0]["SUMMARY"] == "Mist Cork cube for 12 s"
    assert events[0]["DTSTAMP"].dt == dt.datetime.fromtimestamp(NOW_MS / 1000, dt.UTC)
    assert len({event["UID"] for event in events}) == 2
    assert not any(event.errors for event in events)


def test_what_must_be_there_is_there() -> None:
    """RFC 5545: VERSION and PRODID; UID and DTSTAMP in each event; a VTIMEZONE for each TZID."""
    read = Calendar.from_ical(written())

    assert read["VERSION"] == "2.0"
    assert read["PRODID"]
    assert [zone["TZID"] for zone in read.walk("VTIMEZONE")] == ["Europe/Lisbon"]
    assert all({"UID", "DTSTAMP", "DTSTART"} <= set(event) for event in read.walk("VEVENT"))


def test_it_comes_daily_by_the_wall_clock_across_a_change() -> None:
    """Expanded by dateutil: half past eight in winter and in summer time, 56 times."""
    event = parts_of(written(start=dt.date(2027, 3, 20)), "VEVENT")[0]

    days = list(rrulestr(event["RRULE"].to_ical().decode(), dtstart=event["DTSTART"].dt))

    assert len(days) == 56
    assert {(day.hour, day.minute) for day in days} == {(8, 30)}
    assert {day.utcoffset() for day in days} == {dt.timedelta(0), dt.timedelta(hours=1)}


@pytest.mark.parametrize(
    ("key", "start"),
    [
        ("Europe/Lisbon", dt.date(2027, 3, 20)),
        ("Europe/Lisbon", dt.date(2026, 11, 26)),
        ("America/Santiago", dt.date(2026, 8, 20)),
        ("Australia/Lord_Howe", dt.date(2026, 9, 20)),
        ("Asia/Kathmandu", dt.date(2026, 1, 1)),
        ("UTC", dt.date(2026, 1, 1)),
    ],
)
def test_the_zone_that_is_written_down_is_the_zone(key: str, start: dt.date) -> None:
    """A reader that knows no zones gets every offset of the eight weeks from the stream itself."""
    zone = ZoneInfo(key)
    (told,) = parts_of(written(zone=zone, start=start), "VTIMEZONE")
    changes = sorted(
        (part["DTSTART"].dt, part["TZOFFSETFROM"].td, part["TZOFFSETTO"].td)
        for part in told.subcomponents
    )

    for day in range(56):
        wall = dt.datetime.combine(start + dt.timedelta(days=day), dt.time(12))
        offset = next(to for at, _, to in reversed(changes) if at <= wall)
        assert offset == wall.replace(tzinfo=zone).utcoffset(), wall
    for _, before, after in changes[1:]:
        assert before != after


def test_lines_are_short_and_end_as_they_must() -> None:
    """At most 75 octets each, however many octets a letter has, and none is cut in two."""
    stream = written(name="Käfig für Frösche 🐸" * 8)

    lines = stream.encode().split(b"\r\n")
    assert stream.endswith("\r\n")
    assert max(map(len, lines)) <= 75
    assert "\n" not in stream.replace("\r\n", "")
    read = parts_of(stream, "VEVENT")[0]
    assert read["SUMMARY"] == f"Mist {'Käfig für Frösche 🐸' * 8} for 12 s"


def test_what_means_something_else_is_escaped() -> None:
    """Commas, semicolons, backslashes and line ends come back as they were (RFC 5545, 3.3.11)."""
    name = "Moss, fern; cork\\bark"

    assert parts_of(written(name=name), "VEVENT")[0]["SUMMARY"] == (f"Mist {name} for 12 s")
    assert escaped("a\nb") == "a\\nb"


def test_folding_is_undone_by_dropping_line_ends_and_a_space() -> None:
    """As RFC 5545, 3.1 says."""
    line = "SUMMARY:" + "ä" * 200

    assert "".join(folded(line)).replace(" ", "") == line
    assert all(len(piece.encode()) <= 75 for piece in folded(line))


def test_no_misting_is_an_empty_calendar() -> None:
    """It can be read, and holds nothing."""
    stream = calendar((), "cork-cube", "Cork cube", LISBON, dt.date(2026, 11, 26), NOW_MS)

    assert parts_of(stream, "VEVENT") == []
