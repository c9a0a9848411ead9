"""What an alarm asks of the keeper, and the words for it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum

from monitor.alarms.model import Alarm, Condition, Priority, State
from monitor.alarms.wording import clock, says
from monitor.web import words
from monitor.web.measure import Shape


class Call(IntEnum):
    """How loudly a place calls; the loudest comes first."""

    AT_ONCE = 0
    """A critical alarm that nobody has seen."""
    TODAY = 1
    """Any other alarm that nobody has seen."""
    BACK = 2
    """It ended before anybody saw it."""
    SEEN = 3
    """It stands, and was seen or set aside."""
    SLIPPED = 4
    """A value is out of its range; no alarm yet."""
    UNKNOWN = 5
    """Nothing to go by."""
    CALM = 6


_SHAPES = {
    Condition.LOW: Shape.BELOW,
    Condition.CRITICAL_LOW: Shape.BELOW,
    Condition.HIGH: Shape.ABOVE,
    Condition.CRITICAL_HIGH: Shape.ABOVE,
}
_WAITING = (State.UNACKNOWLEDGED, State.RETURNED)


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm as it is shown; ``waits``: nobody has seen it."""

    id: str
    call: Call
    shape: Shape
    title: str
    says: str
    note: str | None
    waits: bool


def alarm_views(alarms: Iterable[Alarm], zone: dt.tzinfo, now_ms: int) -> tuple[AlarmView, ...]:
    """Open alarms, the loudest first, then the oldest.

    One that a graver alarm makes needless is left out: the graver one says it.
    """
    shown = [alarm for alarm in alarms if alarm.state is not State.SUPPRESSED]
    return tuple(
        alarm_view(alarm, zone, now_ms)
        for alarm in sorted(shown, key=lambda alarm: (_call(alarm), alarm.since_ms))
    )


def _call(alarm: Alarm) -> Call:
    if alarm.state is State.RETURNED:
        return Call.BACK
    if alarm.state is not State.UNACKNOWLEDGED:
        return Call.SEEN
    return Call.AT_ONCE if alarm.priority is Priority.CRITICAL else Call.TODAY


def alarm_view(alarm: Alarm, zone: dt.tzinfo, now_ms: int) -> AlarmView:
    """One alarm, by the clock of ``zone``."""
    since = clock(alarm.since_ms, zone, now_ms)
    matter = words.condition(alarm.point.quantity, alarm.point.condition)
    title = words.SINCE if alarm.standing else words.WAS
    return AlarmView(
        id=alarm.id,
        call=_call(alarm),
        shape=_shape(alarm),
        title=title.format(words.capital(matter) if alarm.standing else matter, since),
        says=says(alarm, zone, now_ms),
        note=_note(alarm, zone, now_ms),
        waits=alarm.state in _WAITING,
    )


def _shape(alarm: Alarm) -> Shape:
    if not alarm.standing:
        return Shape.INSIDE
    return _SHAPES.get(alarm.point.condition, Shape.UNSURE)


def _note(alarm: Alarm, zone: dt.tzinfo, now_ms: int) -> str | None:
    if alarm.state is State.SHELVED and alarm.shelved_until_ms is not None:
        return words.SHELVED_UNTIL.format(clock(alarm.shelved_until_ms, zone, now_ms))
    if alarm.state is State.OUT_OF_SERVICE:
        return words.OUT_OF_SERVICE
    if alarm.state is State.SUPPRESSED and alarm.suppressed_because is not None:
        return words.KEPT_QUIET.format(words.BECAUSE[alarm.suppressed_because])
    if alarm.acknowledged_at_ms is None:
        return None
    return words.SEEN_BY.format(
        clock(alarm.acknowledged_at_ms, zone, now_ms), alarm.acknowledged_by
    )
