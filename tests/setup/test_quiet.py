"""Quiet hours."""

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pydantic import ValidationError

from monitor.setup.quiet import QuietHours

NIGHT = {"from": "23:00", "to": "07:00", "timezone": "Europe/Lisbon"}


def quiet(**changes: Any) -> QuietHours:
    """The quiet hours of a keeper in Lisbon."""
    return QuietHours.model_validate(NIGHT | changes)


def ms(text: str, zone: str = "Europe/Lisbon", fold: int = 0) -> int:
    """A wall-clock time as epoch milliseconds; ``fold`` 1 is the second of two."""
    when = dt.datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone), fold=fold)
    return round(when.timestamp() * 1000)


@pytest.mark.parametrize(
    ("time", "holds"),
    [
        ("2026-11-29 22:59:59.999", False),
        ("2026-11-29 23:00", True),
        ("2026-11-30 00:00", True),
        ("2026-11-30 06:59:59.999", True),
        ("2026-11-30 07:00", False),
        ("2026-11-30 12:00", False),
    ],
)
def test_a_night_spans_midnight(time: str, holds: bool) -> None:
    """From the minute it begins until before the minute it ends."""
    assert quiet().hold("warning", ms(time)) is holds


def test_hours_within_a_day() -> None:
    """A nap at noon."""
    nap = quiet(**{"from": "12:00", "to": "14:00"})

    assert [h for h in range(24) if nap.hold("warning", ms(f"2026-11-30 {h:02}:00"))] == [12, 13]


@pytest.mark.parametrize(
    ("below", "held"), [("critical", ["warning", "advice"]), ("warning", ["advice"])]
)
def test_only_what_is_less_urgent_waits(below: str, held: list[str]) -> None:
    """What is critical never does."""
    night = quiet(below=below)
    at_ms = ms("2026-11-30 03:00")

    assert [p for p in ("critical", "warning", "advice") if night.hold(p, at_ms)] == held


# Changes of the clock from the IANA list: Lisbon 2026-03-29 01:00 -> 02:00 and 2026-10-25
# 02:00 -> 01:00; Lord Howe 2026-04-05 02:00 -> 01:30, by half an hour.
@pytest.mark.parametrize(
    ("hours", "times", "expected"),
    [
        (("23:00", "01:30"), ["2026-03-29 00:59", "2026-03-29 02:00"], [True, False]),
        (("01:30", "07:00"), ["2026-03-29 00:59", "2026-03-29 02:00"], [False, True]),
        (("23:00", "07:00"), ["2026-03-29 00:59", "2026-03-29 02:00"], [True, True]),
        (("01:10", "01:50"), ["2026-03-29 00:59", "2026-03-29 02:00"], [False, False]),
    ],
)
def test_an_hour_that_the_clock_skips(
    hours: tuple[str, str], times: list[str], expected: list[bool]
) -> None:
    """An edge within it is passed when the clock jumps over it."""
    night = quiet(**dict(zip(("from", "to"), hours, strict=True)))

    assert [night.hold("warning", ms(time)) for time in times] == expected
    assert ms(times[1]) - ms(times[0]) == 60_000


@pytest.mark.parametrize(
    ("zone", "hours", "time", "expected"),
    [
        ("Europe/Lisbon", ("23:00", "01:30"), "2026-10-25 01:15", [True, True]),
        ("Europe/Lisbon", ("23:00", "01:30"), "2026-10-25 01:45", [False, False]),
        ("Europe/Lisbon", ("23:00", "07:00"), "2026-10-25 01:45", [True, True]),
        ("Australia/Lord_Howe", ("01:45", "07:00"), "2026-04-05 01:50", [True, True]),
    ],
)
def test_an_hour_that_comes_twice(
    zone: str, hours: tuple[str, str], time: str, expected: list[bool]
) -> None:
    """What the clock shows decides, both times."""
    night = quiet(timezone=zone, **dict(zip(("from", "to"), hours, strict=True)))

    assert ms(time, zone, 0) != ms(time, zone, 1)
    assert [night.hold("warning", ms(time, zone, fold)) for fold in (0, 1)] == expected


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"to": "23:00"}, "the time of from"),
        ({"below": "advice"}, "nothing is less urgent"),
        ({"timezone": "Lisbon"}, "no IANA time zone"),
        ({"from": 23}, "a number is no date or time"),
        ({"from": "23:00+01:00"}, "without an offset"),
        ({"until": "07:00"}, "until"),
    ],
)
def test_mistakes_are_told(change: dict[str, object], says: str) -> None:
    """Hours that could never be meant."""
    with pytest.raises(ValidationError, match=says):
        quiet(**change)


def test_the_time_zone_must_be_said() -> None:
    """Servers often run in UTC; a keeper sleeps by another clock."""
    with pytest.raises(ValidationError, match="timezone"):
        QuietHours.model_validate({"from": "23:00", "to": "07:00"})
