"""What the desk holds of alarms: the open ones, what keeps them quiet, when points were raised."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from monitor.alarms.model import Alarm, PointKey
from monitor.alarms.rules import Policy
from monitor.alarms.suppression import Suppression
from monitor.setup.alarming import CHATTERING, CHATTERING_MS

Filed = tuple[str, Suppression | None]
"""A suppression by its key, None where it ended."""


@dataclass(frozen=True, slots=True)
class Book:
    """What a step works on.

    ``alarms`` are the open ones by point, ``closed`` by id those raised of late that are over,
    ``suppressions`` stand under their keys, ``raised_ms`` holds the last raisings of each point.
    """

    policy: Policy
    alarms: dict[PointKey, Alarm] = field(default_factory=dict)
    closed: dict[str, Alarm] = field(default_factory=dict)
    suppressions: dict[str, Suppression] = field(default_factory=dict)
    raised_ms: dict[PointKey, Sequence[int]] = field(default_factory=dict)

    def enter(self, alarms: Iterable[Alarm], suppressions: Iterable[Filed] = ()) -> None:
        """Take in alarms as they are now, older occurrences of a point first, and suppressions."""
        for alarm in alarms:
            point = alarm.point
            times = self.raised_ms.get(point, ())
            if not times or alarm.raised_at_ms > times[-1]:
                self.raised_ms[point] = (*times, alarm.raised_at_ms)[-CHATTERING:]
            if not alarm.over:
                self.alarms[point] = alarm
                continue
            if point in self.alarms and self.alarms[point].id == alarm.id:
                del self.alarms[point]
            self._close(alarm)
        for key, suppression in suppressions:
            if suppression is None:
                self.suppressions.pop(key, None)
            else:
                self.suppressions[key] = suppression

    def _close(self, alarm: Alarm) -> None:
        """Keep an alarm that is over for a while."""
        self.closed[alarm.id] = alarm
        first = next(iter(self.closed.values()))
        while first.raised_at_ms < alarm.raised_at_ms - CHATTERING_MS:
            del self.closed[first.id]
            first = next(iter(self.closed.values()))


def chatters(raised_ms: Sequence[int], at_ms: int) -> bool:
    """Whether one more raising at a time, after the last ones of its point, is chattering."""
    times = (*raised_ms, at_ms)[-CHATTERING:]
    return len(times) == CHATTERING and at_ms - times[0] <= CHATTERING_MS
