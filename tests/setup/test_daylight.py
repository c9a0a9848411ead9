"""Day and night around the clock changes of three zones, and against a minute-by-minute timer.

The instants of the changes follow from the rules in the IANA time zone database (files europe,
southamerica, australasia); the European one is also Directive 2000/84/EC: last Sundays of March
and October, 01:00 UTC.
"""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.setup.daylight import LATEST_MS, Daylight, Daylights
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339, rfc3339

LISBON, SANTIAGO, LORD_HOWE = "Europe/Lisbon", "America/Santiago", "Australia/Lord_Howe"


def timer(on: str, off: str, zone: str) -> Daylight:
    """A lamp timer from texts."""
    return Daylight(dt.time.fromisoformat(on), dt.time.fromisoformat(off), ZoneInfo(zone))


# Each row: zone, lights on, lights off, a UTC span, and the switches to expect inside it.
SWITCHES = [
    # An ordinary winter and summer day in Lisbon (UTC, then UTC+1).
    (LISBON, "08:00", "20:00", "2026-01-10", "2026-01-11", ["+08:00", "-20:00"]),
    (LISBON, "08:00", "20:00", "2026-07-10", "2026-07-11", ["+07:00", "-19:00"]),
    # Lisbon, 29 March: 01:00 becomes 02:00 at 01:00 UTC. The morning comes an hour sooner.
    (LISBON, "08:00", "20:00", "2026-03-28", "2026-03-30",
     ["+08:00", "-20:00", "+07:00", "-19:00"]),
    # On inside the gap: lit when the clock jumps over it. Off inside: put out then.
    (LISBON, "01:30", "12:00", "2026-03-29", "2026-03-30", ["+01:00", "-11:00"]),
    (LISBON, "12:00", "01:30", "2026-03-29", "2026-03-30", ["-01:00", "+11:00"]),
    # Both inside the gap: on and off at one instant show as nothing at all.
    (LISBON, "01:15", "01:45", "2026-03-28", "2026-03-30", ["+01:15", "-01:45"]),
    # Exactly at the edges of the gap.
    (LISBON, "01:00", "02:00", "2026-03-29", "2026-03-30", []),
    (LISBON, "00:59", "02:01", "2026-03-29", "2026-03-30", ["+00:59", "-01:01", "+23:59"]),
    # Lisbon, 25 October: 01:00 to 02:00 comes twice, at 00:00 and at 01:00 UTC. First time only.
    (LISBON, "01:30", "12:00", "2026-10-25", "2026-10-26", ["+00:30", "-12:00"]),
    (LISBON, "12:00", "01:30", "2026-10-25", "2026-10-26", ["-00:30", "+12:00"]),
    (LISBON, "01:15", "01:45", "2026-10-25", "2026-10-26", ["+00:15", "-00:45"]),
    (LISBON, "01:45", "01:15", "2026-10-25", "2026-10-26", ["-00:15", "+00:45"]),
    (LISBON, "02:00", "12:00", "2026-10-25", "2026-10-26", ["+02:00", "-12:00"]),
    # Santiago, 6 September: midnight becomes 01:00 at 04:00 UTC.
    (SANTIAGO, "00:30", "12:00", "2026-09-06", "2026-09-07", ["+04:00", "-15:00"]),
    (SANTIAGO, "08:00", "00:00", "2026-09-06", "2026-09-07", ["-04:00", "+11:00"]),
    # Santiago, 5 April: at 03:00 UTC midnight becomes 23:00 of the 4th. 23:30 is at 02:30 UTC
    # first; midnight itself is reached only at the second try.
    (SANTIAGO, "08:00", "23:30", "2026-04-05", "2026-04-06", ["-02:30", "+12:00"]),
    (SANTIAGO, "08:00", "00:00", "2026-04-05", "2026-04-06", ["-04:00", "+12:00"]),
    # Lord Howe changes by 30 minutes. 3 October 15:30 UTC: 02:00 becomes 02:30.
    (LORD_HOWE, "02:10", "12:00", "2026-10-03T12:00Z", "2026-10-04T12:00Z", ["+15:30", "-01:00"]),
    (LORD_HOWE, "02:30", "12:00", "2026-10-03T12:00Z", "2026-10-04T12:00Z", ["+15:30", "-01:00"]),
    (LORD_HOWE, "02:40", "12:00", "2026-10-03T12:00Z", "2026-10-04T12:00Z", ["+15:40", "-01:00"]),
    # 4 April 15:00 UTC: 02:00 becomes 01:30, so 01:45 comes at 14:45 and again at 15:15 UTC.
    (LORD_HOWE, "01:45", "12:00", "2026-04-04T12:00Z", "2026-04-05T12:00Z", ["+14:45", "-01:30"]),
    (LORD_HOWE, "02:00", "12:00", "2026-04-04T12:00Z", "2026-04-05T12:00Z", ["+15:30", "-01:30"]),
    # Apia skipped the whole of 30 December 2011 when it changed sides of the date line.
    ("Pacific/Apia", "08:00", "20:00", "2011-12-29T12:00Z", "2011-12-31T12:00Z",
     ["+18:00", "-06:00", "+18:00", "-06:00"]),
]  # fmt: skip


@pytest.mark.parametrize(("zone", "on", "off", "start", "end", "expected"), SWITCHES)
def test_switches_around_clock_changes(
    zone: str, on: str, off: str, start: str, end: str, expected: list[str]
) -> None:
    """The lamp follows the wall clock: skipped times switch at the jump, repeated ones once."""
    first, last = parse_rfc3339(start), parse_rfc3339(end)
    segments = timer(on, off, zone).segments(first, last - 1)

    shown = [
        ("+" if day else "-") + rfc3339(int(at))[11:16]
        for at, day in zip(segments.edge_ms[:-1], segments.day, strict=True)
        if first <= at < last
    ]
    assert shown == expected


def test_equal_times_mean_always_day() -> None:
    """A lamp whose two times are equal is never switched: it is day at any time."""
    daylight = timer("08:00", "08:00", LISBON)

    assert daylight.is_day(np.arange(0, 2 * DAY_MS, HOUR_MS)).all()
    assert daylight.segment(0).day
    assert daylight.segments(0, DAY_MS).day.tolist() == [True]


def test_day_may_span_midnight() -> None:
    """With lights off before lights on, the night lies in the middle of the calendar day."""
    daylight = timer("18:00", "06:00", "UTC")
    hours = np.arange(24) * HOUR_MS

    assert daylight.is_day(hours).tolist() == [hour < 6 or hour >= 18 for hour in range(24)]


def test_an_offset_is_refused() -> None:
    """A lamp time with an offset of its own would say two things at once."""
    with pytest.raises(ValueError, match="lights_off 20:00:00\\+00:00 has an offset; write"):
        Daylight(dt.time(8), dt.time(20, tzinfo=dt.UTC), ZoneInfo(LISBON))


def test_far_times_are_answered() -> None:
    """A clock that is wrong by centuries gets an answer, not an error."""
    daylight = timer("08:00", "20:00", LISBON)
    far = np.array([-(2**62), -1, LATEST_MS + 1, 2**62])

    assert len(daylight.is_day(far)) == 4
    assert daylight.segment(2**62) == daylight.segment(LATEST_MS)


ZONES = st.sampled_from(
    [LISBON, SANTIAGO, LORD_HOWE, "UTC", "Pacific/Apia", "Pacific/Chatham", "Africa/Casablanca"]
)
MINUTES = st.integers(0, 24 * 60 - 1)
CHANGES = st.sampled_from(
    ["2026-03-29", "2026-10-25", "2026-04-05", "2026-09-06", "2026-10-04", "2011-12-30"]
)


@given(zone=ZONES, on=MINUTES, off=MINUTES, around=CHANGES)
@settings(deadline=None, max_examples=60)
def test_agrees_with_a_timer_watched_minute_by_minute(
    zone: str, on: int, off: int, around: str
) -> None:
    """Over a clock change the answer is that of a timer which never turns its own hand back."""
    tz = ZoneInfo(zone)
    middle = parse_rfc3339(around)
    at_ms = np.arange(middle - 3 * DAY_MS, middle + 3 * DAY_MS, MINUTE_MS)
    furthest = dt.datetime(1970, 1, 1)  # noqa: DTZ001 - a wall clock has no zone
    expected = []
    for at in at_ms.tolist():
        wall = dt.datetime.fromtimestamp(at / 1000, tz).replace(tzinfo=None)
        furthest = max(furthest, wall)
        minute = furthest.hour * 60 + furthest.minute
        expected.append(on == off or (minute - on) % 1440 < (off - on) % 1440)

    day = timer(f"{on // 60:02d}:{on % 60:02d}", f"{off // 60:02d}:{off % 60:02d}", zone).is_day(
        at_ms
    )

    assert day.tolist() == expected


def test_the_remembered_stretch_ends_where_it_ends() -> None:
    """At the very instant of a switch the light has changed, however often it was asked before."""
    many = Daylights([timer("08:00", "20:00", "UTC")])
    on, off = 8 * HOUR_MS, 20 * HOUR_MS
    for at, day in ((on - 1, False), (on, True), (off - 1, True), (off, False), (on, True)):
        assert many.is_day(np.array([0]), np.array([at])).tolist() == [day]


@given(times=st.lists(st.integers(0, 400 * DAY_MS), max_size=40), data=st.data())
def test_many_at_once_equal_one_by_one(times: list[int], data: st.DataObject) -> None:
    """The remembered stretch never changes an answer, in whatever order times are asked."""
    daylights = [timer("08:00", "20:00", LISBON), timer("21:30", "03:00", LORD_HOWE)]
    many = Daylights(daylights)
    which = data.draw(st.lists(st.integers(0, 1), min_size=len(times), max_size=len(times)))
    pieces = data.draw(st.integers(1, 5))

    for part in range(pieces):
        at, n = times[part::pieces], which[part::pieces]
        asked = many.is_day(np.array(n, dtype=np.int64), np.array(at, dtype=np.int64))

        assert asked.tolist() == [daylights[k].segment(t).day for k, t in zip(n, at, strict=True)]
        assert asked.tolist() == [
            bool(daylights[k].is_day(np.array([t]))[0]) for k, t in zip(n, at, strict=True)
        ]
