"""The states of one alarm and every way between them, as one table.

States and transitions are those of IEC 62682 / ISA-18.2 (from memory; the freely readable source
for the same model is OPC 10000-9, section 5.8). Ours are three decisions:

- A condition that comes back closes the occurrence that waited for its acknowledgement and raises
  a new one: two crashes in a night are two alarms.
- A shelved alarm stays the same occurrence however often its condition comes and goes, and is
  judged afresh when the shelf ends.
- An alarm that is over never changes again.
"""

from dataclasses import dataclass, replace
from enum import Enum, StrEnum, auto
from typing import TypedDict, Unpack

from monitor.alarms.model import Alarm, State
from monitor.errors import Conflict
from monitor.times import rfc3339


class Event(StrEnum):
    """What can happen to an alarm."""

    RAISED = "raised"
    RETURNED = "returned"
    REPLACED = "replaced"
    ACKNOWLEDGED = "acknowledged"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SUPPRESSED = "suppressed"
    UNSUPPRESSED = "unsuppressed"
    WITHDRAWN = "withdrawn"


class Verdict(Enum):
    """A next state that follows from the facts and not from the cell alone."""

    AS_IT_STANDS = auto()
    """Unacknowledged or acknowledged while the condition holds, else normal."""


A, B, C, D = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED
E, F = State.SHELVED, State.SUPPRESSED
JUDGE = Verdict.AS_IT_STANDS

TABLE: dict[tuple[State, Event], State | Verdict] = {
    (A, Event.RAISED): B,
    (A, Event.SUPPRESSED): F,  # raised, but needless from the start
    (B, Event.RETURNED): D,
    (B, Event.ACKNOWLEDGED): C,
    (B, Event.SHELVED): E,
    (B, Event.SUPPRESSED): F,
    (B, Event.WITHDRAWN): A,
    (C, Event.RETURNED): A,
    (C, Event.SHELVED): E,
    (C, Event.SUPPRESSED): F,
    (C, Event.WITHDRAWN): A,
    (D, Event.REPLACED): A,
    (D, Event.ACKNOWLEDGED): A,
    (D, Event.SHELVED): E,
    (D, Event.WITHDRAWN): A,
    (E, Event.RAISED): E,
    (E, Event.RETURNED): E,
    (E, Event.SHELVED): E,  # a new end
    (E, Event.UNSHELVED): JUDGE,
    (E, Event.SUPPRESSED): F,  # the shelf ends while a graver alarm stands
    (E, Event.WITHDRAWN): A,
    (F, Event.RETURNED): A,
    (F, Event.UNSUPPRESSED): JUDGE,
    (F, Event.WITHDRAWN): A,
}
"""(state, event) -> next state. What is not in it is forbidden."""


@dataclass(frozen=True, slots=True)
class Change:
    """What happened to an alarm: the alarm as it is now, and who did it if a keeper did."""

    alarm: Alarm
    event: Event
    at_ms: int
    by: str | None = None


class _Facts(TypedDict, total=False):
    returned_at_ms: int | None
    acknowledged_at_ms: int | None
    acknowledged_by: str | None
    shelved_until_ms: int | None
    shelved_by: str | None
    suppressed_by: str | None
    withdrawn_at_ms: int | None


def raised(alarm: Alarm, at_ms: int) -> Change:
    """A new alarm calls for the keeper; a shelved one notes that its condition is back."""
    return _change(alarm, Event.RAISED, at_ms, returned_at_ms=None)


def returned(alarm: Alarm, at_ms: int) -> Change:
    """The condition is over; whether the alarm is too depends on who knows of it."""
    return _change(alarm, Event.RETURNED, at_ms, returned_at_ms=at_ms)


def replaced(alarm: Alarm, at_ms: int) -> Change:
    """The condition came back before anyone acknowledged: a new occurrence takes over."""
    return _change(alarm, Event.REPLACED, at_ms)


def acknowledged(alarm: Alarm, by: str, at_ms: int) -> Change:
    """A keeper has seen it."""
    return _change(
        alarm, Event.ACKNOWLEDGED, at_ms, by, acknowledged_at_ms=at_ms, acknowledged_by=by
    )


def shelved(alarm: Alarm, until_ms: int, by: str, at_ms: int) -> Change:
    """A keeper wants to hear no more of it until a given time."""
    if until_ms <= at_ms:
        raise Conflict(
            f"alarm {alarm.id} cannot be shelved until {rfc3339(until_ms)}: that is past; "
            "name a time to come"
        )
    return _change(alarm, Event.SHELVED, at_ms, by, shelved_until_ms=until_ms, shelved_by=by)


def unshelved(alarm: Alarm, at_ms: int, by: str | None = None) -> Change:
    """The shelf ends, by time or by a keeper: a condition that holds calls anew."""
    return _change(alarm, Event.UNSHELVED, at_ms, by, **_OFF_THE_SHELF)


def suppressed(alarm: Alarm, suppressed_by: str, at_ms: int, by: str | None = None) -> Change:
    """Another alarm says more about the same matter: this one is kept but calls nobody.

    ``by`` is the keeper who ended a shelf, if that is what brought it here.
    """
    facts: _Facts = {"suppressed_by": suppressed_by}
    if alarm.state is State.SHELVED:
        facts |= _OFF_THE_SHELF
    return _change(alarm, Event.SUPPRESSED, at_ms, by, **facts)


def unsuppressed(alarm: Alarm, at_ms: int) -> Change:
    """The graver alarm is over: this one stands on its own again, as far as acknowledged."""
    return _change(alarm, Event.UNSUPPRESSED, at_ms, suppressed_by=None)


def withdrawn(alarm: Alarm, at_ms: int) -> Change:
    """The set-up no longer watches the point: the alarm is closed, whatever its condition."""
    return _change(alarm, Event.WITHDRAWN, at_ms, withdrawn_at_ms=at_ms)


_OFF_THE_SHELF: _Facts = {
    "shelved_until_ms": None,
    "shelved_by": None,
    "acknowledged_at_ms": None,
    "acknowledged_by": None,
}


def _change(
    alarm: Alarm, event: Event, at_ms: int, by: str | None = None, **facts: Unpack[_Facts]
) -> Change:
    following = TABLE.get((alarm.state, event))
    if following is None or alarm.over:
        is_now = "over" if alarm.over else alarm.state.value
        raise Conflict(f"alarm {alarm.id} is {is_now}: it cannot be {event.value}")
    alarm = replace(alarm, **facts)
    if isinstance(following, Verdict):
        following = _as_it_stands(alarm)
    if following is State.UNACKNOWLEDGED:  # no event leads there from itself
        recalls = alarm.recalls + (event is Event.UNSHELVED)
        alarm = replace(alarm, called_at_ms=at_ms, recalls=recalls)
    return Change(replace(alarm, state=following), event, at_ms, by)


def _as_it_stands(alarm: Alarm) -> State:
    if not alarm.standing:
        return State.NORMAL
    return State.UNACKNOWLEDGED if alarm.acknowledged_at_ms is None else State.ACKNOWLEDGED
