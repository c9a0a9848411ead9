"""Alarms looked at together: which look false, how many call by night, what a change does."""

from dataclasses import replace

import pytest

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.reckoning import (
    Doubt,
    Surroundings,
    difference,
    judge,
    tally,
)
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Zone
from monitor.setup.nights import nights_within
from monitor.times import HOUR_MS, MINUTE_MS, parse_rfc3339

OFF_MS = parse_rfc3339("2026-11-24T20:00:00Z")
"""Lights off."""
NIGHTS = nights_within(Enclosure(id="cube", name="Cube"), OFF_MS, OFF_MS + 12 * HOUR_MS)
AROUND = Surroundings(
    nights=NIGHTS,
    switched_ms=(OFF_MS, OFF_MS + 12 * HOUR_MS),
    misted_ms=(OFF_MS + 3 * HOUR_MS,),
    probes=frozenset({"canopy", "floor"}),
    end_ms=OFF_MS + 24 * HOUR_MS,
)
LOW = PointKey("cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
HIGH = LOW._replace(condition=Condition.HIGH)
SILENT = PointKey("cube", "canopy", None, Condition.SILENT)


def alarm(
    point: PointKey = LOW,
    since_min: float = 5,
    lasted_min: float | None = 30,
    priority: Priority = Priority.WARNING,
) -> Alarm:
    """An alarm whose condition began so many minutes after lights off; None: it stands."""
    since_ms = OFF_MS + round(MINUTE_MS * since_min)
    raised_ms = since_ms + 20 * MINUTE_MS
    returned_ms = None if lasted_min is None else since_ms + round(MINUTE_MS * lasted_min)
    return Alarm(
        id=f"{point}.{raised_ms}",
        point=point,
        zone=Zone.CANOPY,
        priority=priority,
        state=State.UNACKNOWLEDGED if returned_ms is None else State.RETURNED,
        since_ms=since_ms,
        raised_at_ms=raised_ms,
        value=66.0,
        limit=70.0,
        extreme=66.0,
        returned_at_ms=returned_ms,
        called_at_ms=raised_ms,
    )


@pytest.mark.parametrize(
    ("found", "doubt"),
    [
        (alarm(since_min=5), Doubt.LIGHTS),
        (alarm(since_min=45), Doubt.LIGHTS),
        (alarm(since_min=46), None),
        (alarm(since_min=-1), None),
        (alarm(since_min=5, lasted_min=60), Doubt.LIGHTS),
        (alarm(since_min=5, lasted_min=61), None),
        (alarm(since_min=5, lasted_min=None), None),
        (alarm(since_min=5, priority=Priority.CRITICAL), None),
        (alarm(HIGH, since_min=185), Doubt.MISTING),
        (alarm(LOW, since_min=185), None),  # no misting dries
        (alarm(HIGH._replace(quantity=Quantity.TEMPERATURE), since_min=185), None),
        (alarm(HIGH, since_min=179), None),
    ],
)
def test_what_looks_false(found: Alarm, doubt: Doubt | None) -> None:
    """Soon over, just after the lights or a misting, and no more than a warning."""
    (judged,) = judge([found], AROUND)

    assert judged.doubt is doubt


def test_a_silence_looks_false_if_nothing_else_was_heard() -> None:
    """All probes silent at once point to the broker; one alone, or the only one, does not."""
    floor = SILENT._replace(probe="floor")
    later = alarm(floor, since_min=300)

    together = judge([alarm(SILENT), alarm(floor, since_min=7)], AROUND)
    apart = judge([alarm(SILENT), later], AROUND)
    single = judge([alarm(SILENT)], replace(AROUND, probes=frozenset({"canopy"})))

    assert [each.doubt for each in together] == [Doubt.ALL_SILENT, Doubt.ALL_SILENT]
    assert [each.doubt for each in apart] == [None, None]
    assert [each.doubt for each in single] == [None]


def test_a_tally_counts_calls() -> None:
    """By night and by day; what called nobody counts as an alarm alone; the longest is named."""
    long = alarm(since_min=60, lasted_min=300)
    day = alarm(since_min=13 * 60, lasted_min=None, priority=Priority.CRITICAL)
    raised = [alarm(), long, day, replace(alarm(HIGH, 90), called_at_ms=None)]

    found = tally(judge(raised, AROUND), NIGHTS)

    assert (found.alarms, found.calls, found.at_night, found.by_night) == (4, 3, 2, (2,))
    assert (found.critical, found.look_false) == (1, 1)
    assert found.longest is not None
    assert found.longest.alarm == day, "what stands counts to the end of the span"
    assert found.longest.lasted_ms == 11 * HOUR_MS


def test_nothing_is_counted_as_nothing() -> None:
    """A span without alarms and without nights."""
    found = tally([], [])

    assert (found.alarms, found.calls, found.longest, found.by_night) == (0, 0, None, ())


def test_a_difference_goes_by_point_and_time() -> None:
    """The same crash told a little later is the same; another time or point is not."""
    before = judge([alarm(), alarm(since_min=300), alarm(HIGH, 60)], AROUND)
    after = judge([alarm(since_min=20), alarm(HIGH, 400)], AROUND)

    found = difference(before, after)

    assert found.kept == 1
    assert [each.alarm.since_ms for each in found.gone] == [
        OFF_MS + 300 * MINUTE_MS,
        OFF_MS + 60 * MINUTE_MS,
    ]
    assert [each.alarm.point for each in found.new] == [HIGH]


def test_what_called_nobody_is_no_difference() -> None:
    """An eclipsed alarm that appears or goes leaves a keeper's night as it was."""
    eclipsed = judge([replace(alarm(), called_at_ms=None)], AROUND)

    assert difference(eclipsed, []) == difference([], eclipsed) == difference([], [])
