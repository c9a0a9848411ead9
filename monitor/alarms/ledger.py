"""The open alarms while a step is worked out: signals become moves between states.

One event, one call: a graver alarm eclipses the lesser one on the same side of the same series.
While ``critical-low`` stands, ``low`` is suppressed by design (IEC 62682): it is kept and shown,
but calls nobody, whether it stood before or is raised meanwhile. When the graver one is over the
lesser stands again, as far as it had been acknowledged.

Whatever keeps an alarm quiet (a graver alarm, a suppression, a probe out of service) is looked up
each time one of them changes, and the alarm brought in line with it: no state is a memory of a
reason that is gone.
"""

from dataclasses import replace
from typing import NamedTuple

from monitor.alarms import states
from monitor.alarms.book import Book, chatters
from monitor.alarms.detection import Kind, Signal
from monitor.alarms.groups import Flood, regroup
from monitor.alarms.model import BROKER, Alarm, Because, Condition, PointKey, Priority, State
from monitor.alarms.rules import WatchedProbe
from monitor.alarms.states import Change
from monitor.alarms.suppression import SWITCHES, Suppression, held_by, key_of, switched

LESSER = {Condition.CRITICAL_LOW: Condition.LOW, Condition.CRITICAL_HIGH: Condition.HIGH}
GRAVER = {lesser: graver for graver, lesser in LESSER.items()}
_QUIET = (State.SUPPRESSED, State.OUT_OF_SERVICE)


class _Hold(NamedTuple):
    """What keeps an alarm quiet, and who or what says so."""

    because: Because
    by: str | None


class Ledger:
    """Alarms by point, over a book that stays untouched.

    ``alarms`` are those that changed, as they are now, by id; ``suppressions`` those that changed,
    by key, None where they ended; ``events`` is what happened, in order.
    """

    def __init__(self, book: Book, now_ms: int) -> None:
        self._book = book
        self._now_ms = now_ms
        self._newest: dict[PointKey, Alarm] = {}
        self._raised_ms: dict[PointKey, tuple[int, ...]] = {}
        self._in_force = book.suppressions
        self._flood: Flood | None = None
        self.alarms: dict[str, Alarm] = {}
        self.suppressions: dict[str, Suppression | None] = {}
        self.events: list[Change] = []

    # -- what readings and silence bring ---------------------------------------------------------

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

    def fall_silent(self, probe: WatchedProbe, since_ms: int) -> None:
        """A probe has not been heard for too long."""
        self._raise_unheard(replace(_UNHEARD, point=probe.point, zone=probe.zone), since_ms)

    def hear_again(self, probe: WatchedProbe) -> None:
        """A silent probe was heard."""
        self._return(probe.point, self._now_ms)

    def cut_off(self, since_ms: int) -> None:
        """There has been no connection to the broker for too long."""
        self._raise_unheard(_CUT_OFF, since_ms)

    def reconnect(self) -> None:
        """There is a connection again."""
        self._return(BROKER, self._now_ms)

    def relapse(self, point: PointKey, found: str) -> None:
        """An enclosure that had settled no longer is."""
        self._raise_unheard(replace(_RELAPSE, point=point, found=found), self._now_ms)

    def settle(self, point: PointKey) -> None:
        """It has settled again."""
        self._return(point, self._now_ms)

    # -- what keeps alarms quiet -----------------------------------------------------------------

    def switch(self, place: str, name: str, at_ms: int, on: bool) -> None:
        """A switch of an enclosure was reported; names that mean nothing here are passed by."""
        because = SWITCHES.get(name)
        if because is None:
            return
        before = self._in_force.get(key_of(place, because, switch=True))
        settle_ms = self._book.policy.settle_ms(because)
        at_ms = min(at_ms, self._now_ms)
        after = switched(before, place, because, at_ms, on=on, settle_ms=settle_ms)
        if after is not None and after != before:
            self._file(after.key, after)

    def begin(self, suppression: Suppression) -> None:
        """A keeper wants quiet."""
        self._file(suppression.key, suppression)
        self._bring_in_line(suppression)

    def cut_short(self, suppression: Suppression, until_ms: int) -> None:
        """A keeper lets a suppression end sooner."""
        self._file(suppression.key, replace(suppression, until_ms=until_ms))
        self._bring_in_line(suppression)

    def end(self, suppression: Suppression, by: str) -> None:
        """A keeper ends what has no end of its own."""
        self.forget(suppression)
        self._bring_in_line(suppression, by)

    def forget(self, suppression: Suppression) -> None:
        """It is over, or its place is no longer watched."""
        self._file(suppression.key, None)

    def let_time_pass(self) -> None:
        """Forget suppressions that are over, end shelves, call for what nothing holds any more."""
        for suppression in self._book.suppressions.values():
            settle_ms = self._book.policy.settle_ms(suppression.because)
            if suppression.over(self._now_ms, settle_ms):
                self.forget(suppression)
        for alarm in self._book.alarms.values():
            if alarm.shelved_until_ms is not None and alarm.shelved_until_ms <= self._now_ms:
                self.end_shelf(alarm)
            elif alarm.state in _QUIET:
                self._settle(alarm.point, self._now_ms)

    def look_after_groups(self) -> None:
        """Let those call whose first-out alarm is over."""
        regrouped = regroup(self._open(), self._now_ms)
        for alarm in regrouped.changed:
            self._keep(alarm)
        for alarm in regrouped.released:
            self.record(states.released(alarm, self._now_ms))

    def end_shelf(self, alarm: Alarm, by: str | None = None) -> None:
        """Judge a shelved alarm afresh: it calls anew only if nothing holds it."""
        hold = self._hold(alarm, self._now_ms)
        if hold is not None and alarm.state is State.SHELVED and alarm.standing:
            self.record(states.suppressed(alarm, hold.by, self._now_ms, by, hold.because))
        else:
            self.record(states.unshelved(alarm, self._now_ms, by))

    def close_returned(self, place: str, probe: str, by: str) -> None:
        """Close the alarms of a probe that only wait for a keeper, who has now seen to it."""
        for alarm in self._of(place, probe):
            if alarm.state is State.RETURNED:
                self.record(states.acknowledged(alarm, by, self._now_ms))
            elif alarm.state is State.SHELVED and not alarm.standing:
                self.record(states.unshelved(alarm, self._now_ms, by))

    def withdraw(self, alarm: Alarm) -> None:
        """Close an alarm whose point is no longer watched."""
        self.record(states.withdrawn(alarm, self._now_ms))
        self._unveil_lesser(alarm.point, self._now_ms)

    # -- inside ----------------------------------------------------------------------------------

    def record(self, change: Change) -> None:
        """Note a change that was worked out elsewhere."""
        self._keep(change.alarm)
        self.events.append(change)

    def open_at(self, point: PointKey) -> Alarm | None:
        """The alarm of a point that is not over."""
        alarm = self._newest.get(point) or self._book.alarms.get(point)
        return None if alarm is None or alarm.over else alarm

    def _raise_unheard(self, alarm: Alarm, since_ms: int) -> None:
        now_ms = self._now_ms
        self._raise(
            replace(alarm, id=f"{alarm.point}.{now_ms}", since_ms=since_ms, raised_at_ms=now_ms)
        )

    def _raise(self, alarm: Alarm) -> None:
        at_ms = alarm.raised_at_ms
        before = self.open_at(alarm.point)
        if before is not None and before.state is State.SHELVED:
            self.record(states.raised(_with_extreme(before, alarm.extreme), at_ms))
        else:
            if before is not None:
                self.record(states.replaced(before, at_ms))
            alarm = self._counted(alarm)
            hold = self._hold(alarm, at_ms)
            if hold is None:
                self.record(states.raised(alarm, at_ms, self._join(alarm, at_ms)))
            else:
                self.record(_held(alarm, hold, at_ms))
        self._veil_lesser(alarm.point, at_ms)

    def _return(self, point: PointKey, at_ms: int) -> None:
        alarm = self.open_at(point)
        if alarm is not None:
            self.record(states.returned(alarm, at_ms))
        self._unveil_lesser(point, at_ms)

    def _counted(self, alarm: Alarm) -> Alarm:
        """A new alarm, marked if its point chatters."""
        before = self._raised_ms.get(alarm.point) or self._book.raised_ms.get(alarm.point, ())
        self._raised_ms[alarm.point] = (*before, alarm.raised_at_ms)
        if before and chatters(before, alarm.raised_at_ms):
            return replace(alarm, chattering=True)
        return alarm

    def _hold(self, alarm: Alarm, at_ms: int) -> _Hold | None:
        """What keeps an alarm quiet, if anything does."""
        if self._in_force:
            suppression = held_by(self._in_force, alarm, at_ms, self._now_ms)
            if suppression is not None:
                return _Hold(suppression.because, suppression.by)
        graver = self._graver(alarm.point)
        return None if graver is None else _Hold(Because.GRAVER, str(graver.point))

    def _settle(self, point: PointKey, at_ms: int, by: str | None = None) -> None:
        """Bring the alarm of a point in line with what keeps it quiet."""
        alarm = self.open_at(point)
        if alarm is None or not alarm.standing:
            return
        hold = self._hold(alarm, at_ms)
        if hold is None:
            if alarm.state is State.SUPPRESSED:
                self.record(states.unsuppressed(alarm, at_ms, self._join(alarm, at_ms)))
            elif alarm.state is State.OUT_OF_SERVICE:
                self.record(states.placed(alarm, at_ms, by, self._join(alarm, at_ms)))
        elif alarm.state is State.SHELVED and hold.because is not Because.OUT_OF_SERVICE:
            return
        elif alarm.state not in _QUIET or hold != (alarm.suppressed_because, alarm.suppressed_by):
            self.record(_held(alarm, hold, at_ms, by))

    def _bring_in_line(self, suppression: Suppression, by: str | None = None) -> None:
        for alarm in self._of(suppression.place, suppression.probe):
            self._settle(alarm.point, self._now_ms, by or suppression.by)

    def _of(self, place: str, probe: str | None) -> list[Alarm]:
        """The open alarms of a place, or of one probe."""
        return [
            alarm
            for alarm in self._open()
            if alarm.point.place == place and probe in (None, alarm.point.probe)
        ]

    def _open(self) -> list[Alarm]:
        alarms = self._book.alarms | self._newest if self._newest else self._book.alarms
        return [alarm for alarm in alarms.values() if not alarm.over]

    def _join(self, alarm: Alarm, at_ms: int) -> str | None:
        """Find the group of an alarm that comes to call, unless a keeper knows of it."""
        if alarm.acknowledged_at_ms is not None:
            return None
        if self._flood is None:
            flood_alarms = self._book.policy.flood_alarms
            known = {alarm.id: alarm for alarm in self._book.alarms.values()}
            lately = known | self._book.closed | self.alarms
            self._flood = Flood(lately.values(), at_ms, flood_alarms, self.open_at)
        return self._flood.join(alarm, at_ms)

    def _file(self, key: str, suppression: Suppression | None) -> None:
        in_force = dict(self._in_force)
        if suppression is None:
            del in_force[key]
        else:
            in_force[key] = suppression
        self._in_force = in_force
        self.suppressions[key] = suppression

    def _veil_lesser(self, point: PointKey, at_ms: int) -> None:
        lesser = self._lesser(point)
        if lesser is not None and lesser.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
            self._settle(lesser.point, at_ms)

    def _unveil_lesser(self, point: PointKey, at_ms: int) -> None:
        lesser = self._lesser(point)
        if lesser is not None and lesser.state is State.SUPPRESSED:
            self._settle(lesser.point, at_ms)

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


_UNHEARD = Alarm(
    id="",
    point=BROKER,
    zone=None,
    priority=Priority.WARNING,
    state=State.NORMAL,
    since_ms=0,
    raised_at_ms=0,
    value=None,
    limit=None,
    extreme=None,
)
_CUT_OFF = replace(_UNHEARD, priority=Priority.CRITICAL)
_RELAPSE = replace(_UNHEARD, priority=Priority.ADVICE)


def _held(alarm: Alarm, hold: _Hold, at_ms: int, by: str | None = None) -> Change:
    if hold.because is Because.OUT_OF_SERVICE:
        return states.removed(alarm, hold.by, at_ms, by)
    return states.suppressed(alarm, hold.by, at_ms, by, hold.because)


def _with_extreme(alarm: Alarm, extreme: float | None) -> Alarm:
    """The alarm with the worse of its own and another extreme."""
    if alarm.extreme is None or extreme is None:
        return alarm
    worse = max if alarm.point.condition in (Condition.HIGH, Condition.CRITICAL_HIGH) else min
    return replace(alarm, extreme=worse(alarm.extreme, extreme))
