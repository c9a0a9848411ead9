"""Alarms of a span looked at together: how many, when, which look false, and what a change does.

An alarm looks false if it is a warning that was soon over and began just after something that
always moves the climate for a while: the lamp timer switched, or (for humidity above its range)
a misting. A silence looks false if nothing else of the enclosure was heard either: then more likely
the broker, the network or dewkeep itself was away. Common practice, no source; a keeper decides.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from monitor.alarms.model import Alarm, Condition, PointKey, Priority
from monitor.quantities import Quantity
from monitor.setup.nights import Night
from monitor.times import HOUR_MS, MINUTE_MS

SOON_MS = 45 * MINUTE_MS
"""What begins so soon after a switch or a misting is put down to it, ..."""
SHORT_MS = HOUR_MS
"""... if it is over within this time (off-delay included)."""


class Doubt(StrEnum):
    """Why an alarm looks false."""

    LIGHTS = "lights"
    """Short, just after the lights were switched."""
    MISTING = "misting"
    """Short and too humid, just after a misting."""
    ALL_SILENT = "all silent"
    """No other probe of the enclosure was heard either."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What went on around the alarms of one enclosure; times in order, epoch ms UTC."""

    nights: Sequence[Night]
    switched_ms: Sequence[int]
    """When the lamp timer switched."""
    misted_ms: Sequence[int]
    probes: frozenset[str]
    """Those that were heard at all."""
    end_ms: int
    """What stands lasts at least until here."""


@dataclass(frozen=True, slots=True)
class Judged:
    """An alarm with what is to be thought of it."""

    alarm: Alarm
    doubt: Doubt | None
    lasted_ms: int
    """From the crossing until it was over, or the end of the span."""


@dataclass(frozen=True, slots=True)
class Tally:
    """The alarms of a span in figures; all but ``alarms`` count those that called the keeper."""

    alarms: int
    calls: int
    at_night: int
    critical: int
    look_false: int
    longest: Judged | None
    by_night: tuple[int, ...]
    """Calls in each of the nights."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Calls of one set of alarms that have no counterpart in another, and how many have one."""

    kept: int
    gone: tuple[Judged, ...]
    new: tuple[Judged, ...]


def judge(alarms: Sequence[Alarm], around: Surroundings) -> list[Judged]:
    """What is to be thought of each alarm."""
    silent = [alarm for alarm in alarms if alarm.point.condition is Condition.SILENT]
    return [
        Judged(alarm, _doubt(alarm, silent, around), _end_ms(alarm, around) - alarm.since_ms)
        for alarm in alarms
    ]


def tally(judged: Sequence[Judged], nights: Sequence[Night]) -> Tally:
    """Count."""
    calls = [each for each in judged if each.alarm.called]
    by_night = tuple(
        sum(night.start_ms <= each.alarm.raised_at_ms < night.end_ms for each in calls)
        for night in nights
    )
    return Tally(
        alarms=len(judged),
        calls=len(calls),
        at_night=sum(by_night),
        critical=sum(each.alarm.priority is Priority.CRITICAL for each in calls),
        look_false=sum(each.doubt is not None for each in calls),
        longest=max(calls, key=lambda each: each.lasted_ms, default=None),
        by_night=by_night,
    )


def difference(before: Sequence[Judged], after: Sequence[Judged]) -> Difference:
    """Calls that both have (the same point, at overlapping times), and those that only one has."""
    one, other = _by_point(before), _by_point(after)
    gone = tuple(each for each in before if each.alarm.called and not _overlaps(each, other))
    new = tuple(each for each in after if each.alarm.called and not _overlaps(each, one))
    return Difference(sum(map(len, other.values())) - len(new), gone, new)


def _by_point(judged: Iterable[Judged]) -> dict[PointKey, list[Judged]]:
    found: dict[PointKey, list[Judged]] = {}
    for each in judged:
        if each.alarm.called:
            found.setdefault(each.alarm.point, []).append(each)
    return found


def _overlaps(one: Judged, others: Mapping[PointKey, Sequence[Judged]]) -> bool:
    start_ms = one.alarm.since_ms
    return any(
        start_ms <= other.alarm.since_ms + other.lasted_ms
        and other.alarm.since_ms <= start_ms + one.lasted_ms
        for other in others.get(one.alarm.point, ())
    )


def _doubt(alarm: Alarm, silent: Sequence[Alarm], around: Surroundings) -> Doubt | None:
    condition = alarm.point.condition
    if condition is Condition.SILENT:
        also = {
            other.point.probe
            for other in silent
            if other.since_ms <= alarm.raised_at_ms and alarm.since_ms <= _end_ms(other, around)
        }
        alone = len(around.probes) < 2
        return Doubt.ALL_SILENT if not alone and around.probes <= also else None
    over_ms = alarm.returned_at_ms
    if alarm.priority is Priority.CRITICAL or over_ms is None:
        return None
    if over_ms - alarm.since_ms > SHORT_MS:
        return None
    if _just_after(alarm.since_ms, around.switched_ms):
        return Doubt.LIGHTS
    too_humid = condition is Condition.HIGH and alarm.point.quantity is Quantity.HUMIDITY
    return Doubt.MISTING if too_humid and _just_after(alarm.since_ms, around.misted_ms) else None


def _just_after(at_ms: int, times_ms: Sequence[int]) -> bool:
    before = bisect_right(times_ms, at_ms)
    return before > 0 and at_ms - times_ms[before - 1] <= SOON_MS


def _end_ms(alarm: Alarm, around: Surroundings) -> int:
    if alarm.returned_at_ms is not None:
        return alarm.returned_at_ms
    return max(alarm.withdrawn_at_ms or around.end_ms, alarm.raised_at_ms)
