"""First-out grouping: of many alarms with one cause the first calls, for all that are like it.

A keeper who gets forty messages reads none. Two things put an alarm into a group, under the first
alarm of the same condition and quantity that stands:

- its probe fell silent within ``FLOOD_MS`` of another one of the same place,
- it comes in a flood: more alarms than ``Policy.flood_alarms`` called within ``FLOOD_MS``; the
  flood goes on until fewer than half as many do.

A group takes in no more once nothing has joined it for ``FLOOD_MS``. A critical alarm is in no
group, and leads none. Nothing is hidden for good: when the first-out alarm is over and some of its
group still stand ``ALONE_AFTER_MS`` later, the oldest of them calls, and leads the others.

What is known of a flood is read off the open alarms, so that a restart forgets nothing.
"""

from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field, replace
from operator import itemgetter
from typing import NamedTuple

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.quantities import Quantity
from monitor.setup.alarming import FLOOD_MS
from monitor.times import MINUTE_MS

ALONE_AFTER_MS = 30 * MINUTE_MS
"""So long after the first-out alarm one of its group that still stands calls for itself: what
recovers from one cause recovers each at its own pace (own judgement)."""


class _Group(NamedTuple):
    """A first-out alarm's point, and the calls of its group, its own too: time by id, by time."""

    point: PointKey
    calls: dict[str, int]


@dataclass(slots=True)
class _Alike:
    """The groups of one condition and quantity by first-out alarm, and the one that takes in."""

    groups: dict[str, _Group] = field(default_factory=dict)
    open: str | None = None


class Flood:
    """The calls of late, for finding the group of one more; good for a single step.

    Args:
        alarms: those that called of late, over or not.
        at_ms: the time of the first call that will join.
        flood_alarms: more calls than this within ``FLOOD_MS`` are a flood.
        now: gives the open alarm of a point as it is now.
    """

    def __init__(
        self,
        alarms: Iterable[Alarm],
        at_ms: int,
        flood_alarms: int,
        now: Callable[[PointKey], Alarm | None],
    ) -> None:
        self._flood_alarms = flood_alarms
        self._now = now
        self._calls: list[int] = []
        self._flooded: list[int] = []
        self._noted: dict[str, str] = {}
        self._alike: defaultdict[tuple[Condition, Quantity | None], _Alike] = defaultdict(_Alike)
        lately = (
            (alarm.called_at_ms, alarm.id, alarm)
            for alarm in alarms
            if alarm.called_at_ms is not None and alarm.called_at_ms > at_ms - FLOOD_MS
        )
        for called_at_ms, _, alarm in sorted(lately, key=itemgetter(0, 1)):
            self._note(self._like(alarm), alarm, alarm.group or alarm.id, called_at_ms)

    def join(self, alarm: Alarm, at_ms: int) -> str | None:
        """Note a call; the id of the first-out alarm that it is grouped under, None for none."""
        alike = self._like(alarm)
        if alarm.id in self._noted:
            self._forget(alike, alarm)
        first_id = None
        if alarm.priority is not Priority.CRITICAL:
            first_id = self._first_out(alike, alarm, at_ms)
        self._note(alike, alarm, first_id or alarm.id, at_ms)
        return first_id

    def _like(self, alarm: Alarm) -> _Alike:
        return self._alike[alarm.point.condition, alarm.point.quantity]

    def _first_out(self, alike: _Alike, alarm: Alarm, at_ms: int) -> str | None:
        if not self._is_on(at_ms):
            if alarm.point.condition is not Condition.SILENT:
                return None
            return self._earliest(alike, at_ms, alarm.point.place)
        # In a flood the same one is found again and again, as long as no other calls for itself.
        if alike.open is None or self._takes_in(alike, alike.open, at_ms) is None:
            alike.open = self._earliest(alike, at_ms)
        return alike.open

    def _earliest(self, alike: _Alike, at_ms: int, place: str | None = None) -> str | None:
        """The first-out alarm that takes in one more, of one place or of any."""
        found = [
            (first.raised_at_ms, first.id)
            for first_id, group in alike.groups.items()
            if place in (None, group.point.place)
            and (first := self._takes_in(alike, first_id, at_ms)) is not None
        ]
        return min(found)[1] if found else None

    def _takes_in(self, alike: _Alike, first_id: str, at_ms: int) -> Alarm | None:
        """The first-out alarm of a group as it is now, if others may be grouped under it."""
        group = alike.groups[first_id]
        first = self._now(group.point)
        if first is None or first.id != first_id or first.group is not None or not first.leads:
            return None
        if first.state is State.SHELVED or not group.calls:
            return None
        return first if next(reversed(group.calls.values())) > at_ms - FLOOD_MS else None

    def _is_on(self, at_ms: int) -> bool:
        """Whether there is a flood, with one more call at a time."""
        calls = _within(self._calls, at_ms) + 1
        if calls > self._flood_alarms:
            return True
        return 2 * calls >= self._flood_alarms and _within(self._flooded, at_ms) > 0

    def _note(self, alike: _Alike, alarm: Alarm, first_id: str, at_ms: int) -> None:
        insort(self._calls, at_ms)
        self._noted[alarm.id] = first_id
        if first_id not in alike.groups:
            alike.groups[first_id] = _Group(PointKey.parse(first_id.rpartition(".")[0]), {})
        alike.groups[first_id].calls[alarm.id] = at_ms
        if first_id == alarm.id:
            alike.open = None
        elif _by_flood(alarm, first_id):
            insort(self._flooded, at_ms)

    def _forget(self, alike: _Alike, alarm: Alarm) -> None:
        """Forget an earlier call of an alarm: only its last one counts."""
        first_id = self._noted.pop(alarm.id)
        at_ms = alike.groups[first_id].calls.pop(alarm.id)
        self._calls.remove(at_ms)
        if first_id != alarm.id and _by_flood(alarm, first_id):
            self._flooded.remove(at_ms)


class Regrouped(NamedTuple):
    """What becomes of groups: alarms that are to call for themselves, and others, changed."""

    released: list[Alarm]
    changed: list[Alarm]


def regroup(alarms: Collection[Alarm], now_ms: int) -> Regrouped:
    """Look after the groups whose first-out alarm is over, or calls for nobody any more.

    Of each such group the oldest alarm is released once its time has come, and leads the others.
    """
    done = Regrouped([], [])
    groups: defaultdict[str, list[Alarm]] = defaultdict(list)
    for alarm in alarms:
        if alarm.group is not None and alarm.state is State.UNACKNOWLEDGED:
            groups[alarm.group].append(alarm)
    led = {alarm.id for alarm in alarms if alarm.leads} if groups else set()
    for first_id, group in groups.items():
        waiting = [alarm for alarm in group if alarm.alone_from_ms is not None]
        if first_id in led:
            done.changed.extend(replace(alarm, alone_from_ms=None) for alarm in waiting)
        elif any(now_ms >= alarm.alone_from_ms for alarm in waiting if alarm.alone_from_ms):
            first, *others = sorted(group, key=lambda alarm: (alarm.raised_at_ms, alarm.id))
            done.released.append(first)
            done.changed.extend(
                replace(alarm, group=first.id, alone_from_ms=None) for alarm in others
            )
        else:
            done.changed.extend(
                replace(alarm, alone_from_ms=now_ms + ALONE_AFTER_MS)
                for alarm in group
                if alarm.alone_from_ms is None
            )
    return done


def _by_flood(alarm: Alarm, first_id: str) -> bool:
    """Whether it took a flood to group an alarm under another, and not a silent place."""
    if alarm.point.condition is not Condition.SILENT:
        return True
    return not first_id.startswith(f"{alarm.point.place}.")


def _within(times_ms: list[int], at_ms: int) -> int:
    """How many of some times in order lie within ``FLOOD_MS`` of a later one."""
    return len(times_ms) - bisect_right(times_ms, at_ms - FLOOD_MS)
