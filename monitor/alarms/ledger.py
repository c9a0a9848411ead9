"""The open alarms while a step is worked out: signals become moves between states.

One event, one call: a graver alarm eclipses the lesser one on the same side of the same series.
While ``critical-low`` stands, ``low`` is suppressed by design (IEC 62682): it is kept and shown,
but calls nobody, whether it stood before or is raised meanwhile. When the graver one is over the
lesser stands again, as far as it had been acknowledged.
"""

from collections.abc import Mapping
from dataclasses import replace

from monitor.alarms import states
from monitor.alarms.detection import Kind, Signal
from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.rules import WatchedProbe
from monitor.alarms.states import Change

LESSER = {Condition.CRITICAL_LOW: Condition.LOW, Condition.CRITICAL_HIGH: Condition.HIGH}
GRAVER = {lesser: graver for graver, lesser in LESSER.items()}


class Ledger:
    """Alarms by point, over a base that stays untouched.

    ``alarms`` are those that changed, as they are now, by id; ``events`` is what happened, in
    order.
    """

    def __init__(self, base: Mapping[PointKey, Alarm]) -> None:
        self._base = base
        self._newest: dict[PointKey, Alarm] = {}
        self.alarms: dict[str, Alarm] = {}
        self.events: list[Change] = []

    def take(self, signal: Signal) -> None:
        """Carry out what a reading did to a point."""
        point = signal.limit.point
        match signal.kind:
            case Kind.RAISED:
                self._raise(
                    Alarm(
                        id=f"{point}.{signal.at_ms}",
                        point=point,
                        zone=signal.limit.zone,
                        priority=signal.limit.priority,
                        state=State.NORMAL,
                        since_ms=signal.since_ms,
                        raised_at_ms=signal.at_ms,
                        value=signal.value,
                        limit=signal.level,
                        extreme=signal.extreme,
                    )
                )
            case Kind.RETURNED:
                self._return(point, signal.at_ms)
            case Kind.WORSE:
                if (alarm := self.open_at(point)) is not None:
                    self._keep(_with_extreme(alarm, signal.extreme))

    def fall_silent(self, probe: WatchedProbe, since_ms: int, now_ms: int) -> None:
        """A probe has not been heard for too long."""
        self._raise(
            Alarm(
                id=f"{probe.point}.{now_ms}",
                point=probe.point,
                zone=probe.zone,
                priority=Priority.WARNING,
                state=State.NORMAL,
                since_ms=since_ms,
                raised_at_ms=now_ms,
                value=None,
                limit=None,
                extreme=None,
            )
        )

    def hear_again(self, probe: WatchedProbe, now_ms: int) -> None:
        """A silent probe was heard."""
        self._return(probe.point, now_ms)

    def end_shelf(self, alarm: Alarm, at_ms: int, by: str | None = None) -> None:
        """Judge a shelved alarm afresh: it calls anew only if nothing graver does."""
        graver = self._graver(alarm.point)
        if graver is not None and alarm.state is State.SHELVED and alarm.standing:
            self.record(states.suppressed(alarm, str(graver.point), at_ms, by))
        else:
            self.record(states.unshelved(alarm, at_ms, by))

    def withdraw(self, alarm: Alarm, at_ms: int) -> None:
        """Close an alarm whose point is no longer watched."""
        self.record(states.withdrawn(alarm, at_ms))
        self._unveil_lesser(alarm.point, at_ms)

    def record(self, change: Change) -> None:
        """Note a change that was worked out elsewhere."""
        self._keep(change.alarm)
        self.events.append(change)

    def open_at(self, point: PointKey) -> Alarm | None:
        """The alarm of a point that is not over."""
        alarm = self._newest.get(point) or self._base.get(point)
        return None if alarm is None or alarm.over else alarm

    def _raise(self, alarm: Alarm) -> None:
        at_ms = alarm.raised_at_ms
        before = self.open_at(alarm.point)
        if before is not None and before.state is State.SHELVED:
            self.record(states.raised(_with_extreme(before, alarm.extreme), at_ms))
        else:
            if before is not None:
                self.record(states.replaced(before, at_ms))
            graver = self._graver(alarm.point)
            self.record(
                states.raised(alarm, at_ms)
                if graver is None
                else states.suppressed(alarm, str(graver.point), at_ms)
            )
        lesser = self._lesser(alarm.point)
        if lesser is not None and lesser.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
            self.record(states.suppressed(lesser, str(alarm.point), at_ms))

    def _return(self, point: PointKey, at_ms: int) -> None:
        alarm = self.open_at(point)
        if alarm is not None:
            self.record(states.returned(alarm, at_ms))
        self._unveil_lesser(point, at_ms)

    def _unveil_lesser(self, point: PointKey, at_ms: int) -> None:
        lesser = self._lesser(point)
        if lesser is not None and lesser.suppressed_by == str(point):
            self.record(states.unsuppressed(lesser, at_ms))

    def _graver(self, point: PointKey) -> Alarm | None:
        """The standing alarm that eclipses a point."""
        condition = GRAVER.get(point.condition)
        if condition is None:
            return None
        alarm = self.open_at(point._replace(condition=condition))
        return alarm if alarm is not None and alarm.standing else None

    def _lesser(self, point: PointKey) -> Alarm | None:
        """The open alarm that a point eclipses."""
        condition = LESSER.get(point.condition)
        return None if condition is None else self.open_at(point._replace(condition=condition))

    def _keep(self, alarm: Alarm) -> None:
        self._newest[alarm.point] = alarm
        self.alarms[alarm.id] = alarm


def _with_extreme(alarm: Alarm, extreme: float | None) -> Alarm:
    """The alarm with the worse of its own and another extreme."""
    if alarm.extreme is None or extreme is None:
        return alarm
    worse = max if alarm.point.condition in (Condition.HIGH, Condition.CRITICAL_HIGH) else min
    return replace(alarm, extreme=worse(alarm.extreme, extreme))
