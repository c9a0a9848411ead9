"""The states of one alarm and every way between them, as one table.

States and transitions are those of IEC 62682 / ISA-18.2 (from memory; the freely readable source
for the same model is OPC 10000-9, section 5.8). Ours are four decisions:

- A condition that comes back closes the occurrence that waited for its acknowledgement and raises
  a new one: two crashes in a night are two alarms.
- A shelved alarm stays the same occurrence however often its condition comes and goes, and is
  judged afresh when the shelf ends.
- Only a condition that holds is suppressed or goes out of service; what has returned meanwhile is
  over without a word.
- An alarm that is over never changes again.

What a keeper does to silence an alarm (a shelf, maintenance, taking its probe out of service) also
takes back that it was acknowledged: when the quiet ends, a condition that still holds calls anew.
"""

from dataclasses import dataclass, replace
from enum import Enum, StrEnum, auto
from typing import TypedDict, Unpack

from monitor.alarms.model import Alarm, Because, State
from monitor.errors import Conflict


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
    REMOVED = "removed-from-service"
    PLACED = "placed-in-service"
    RELEASED = "released"
    WITHDRAWN = "withdrawn"


class Verdict(Enum):
    """A next state that follows from the facts and not from the cell alone."""

    AS_IT_STANDS = auto()
    """Unacknowledged or acknowledged while the condition holds, else normal."""


A, B, C, D = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED
E, F, G = State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE
JUDGE = Verdict.AS_IT_STANDS

TABLE: dict[tuple[State, Event], State | Verdict] = {
    (A, Event.RAISED): B,
    (A, Event.SUPPRESSED): F,  # raised, but needless from the start
    (A, Event.REMOVED): G,
    (B, Event.RETURNED): D,
    (B, Event.ACKNOWLEDGED): C,
    (B, Event.SHELVED): E,
    (B, Event.SUPPRESSED): F,
    (B, Event.REMOVED): G,
    (B, Event.RELEASED): B,  # out of its group: it calls for itself from now on
    (B, Event.WITHDRAWN): A,
    (C, Event.RETURNED): A,
    (C, Event.SHELVED): E,
    (C, Event.SUPPRESSED): F,
    (C, Event.REMOVED): G,
    (C, Event.WITHDRAWN): A,
    (D, Event.REPLACED): A,
    (D, Event.ACKNOWLEDGED): A,
    (D, Event.SHELVED): E,
    (D, Event.WITHDRAWN): A,
    (E, Event.RAISED): E,
    (E, Event.RETURNED): E,
    (E, Event.SHELVED): E,  # a new end
    (E, Event.UNSHELVED): JUDGE,
    (E, Event.SUPPRESSED): F,  # the shelf ends while something else keeps it quiet
    (E, Event.REMOVED): G,
    (E, Event.WITHDRAWN): A,
    (F, Event.RETURNED): A,
    (F, Event.SUPPRESSED): F,  # for another reason
    (F, Event.UNSUPPRESSED): JUDGE,
    (F, Event.REMOVED): G,
    (F, Event.WITHDRAWN): A,
    (G, Event.RETURNED): A,
    (G, Event.SUPPRESSED): F,  # back in service while something else keeps it quiet
    (G, Event.PLACED): B,
    (G, Event.WITHDRAWN): A,
}
"""(state, event) -> next state. What is not in it is forbidden."""


@dataclass(frozen=True, slots=True)
class Change:
    """What happened to an alarm: the alarm as it is now, and who did it if a keeper did."""

    alarm: Alarm
    event: Event
    at_ms: int
    by: str | None = None


class _Free(TypedDict):
    suppressed_because: Because | None
    suppressed_by: str | None


class _Facts(TypedDict, total=False):
    returned_at_ms: int | None
    acknowledged_at_ms: int | None
    acknowledged_by: str | None
    shelved_until_ms: int | None
    shelved_by: str | None
    suppressed_because: Because | None
    suppressed_by: str | None
    called_at_ms: int
    recalls: int
    group: str | None
    alone_from_ms: int | None
    withdrawn_at_ms: int | None


def raised(alarm: Alarm, at_ms: int, group: str | None = None) -> Change:
    """A new alarm calls for the keeper; a shelved one notes that its condition is back.

    ``group`` is the first-out alarm that calls for it, here and wherever an alarm comes to call.
    """
    return _change(alarm, Event.RAISED, at_ms, returned_at_ms=None, group=group)


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
    facts = _Facts(shelved_until_ms=until_ms, shelved_by=by) | _ON_ITS_OWN
    return _change(alarm, Event.SHELVED, at_ms, by, **facts)


def unshelved(alarm: Alarm, at_ms: int, by: str | None = None) -> Change:
    """The shelf ends, by time or by a keeper: a condition that holds calls anew."""
    return _change(alarm, Event.UNSHELVED, at_ms, by, **_off_the_shelf(alarm))


def suppressed(
    alarm: Alarm,
    suppressed_by: str | None,
    at_ms: int,
    by: str | None = None,
    because: Because = Because.GRAVER,
) -> Change:
    """Something makes it needless for now: it is kept but calls nobody.

    ``by`` is the keeper whose act brought it here, if one did.
    """
    facts = _Facts(suppressed_because=because, suppressed_by=suppressed_by) | _ON_ITS_OWN
    if alarm.state is State.SHELVED:
        facts |= _off_the_shelf(alarm)
    elif because in _A_KEEPERS_WORK:
        facts |= _anew(alarm)
    return _change(alarm, Event.SUPPRESSED, at_ms, by, **facts)


def unsuppressed(alarm: Alarm, at_ms: int, group: str | None = None) -> Change:
    """Nothing makes it needless any more: it stands on its own, as far as acknowledged."""
    return _change(alarm, Event.UNSUPPRESSED, at_ms, **_FREE, group=group)


def removed(alarm: Alarm, removed_by: str | None, at_ms: int, by: str | None = None) -> Change:
    """Its probe is out of service: what it says counts for nothing."""
    facts = _Facts(suppressed_because=Because.OUT_OF_SERVICE, suppressed_by=removed_by)
    facts |= _ON_ITS_OWN
    facts |= _off_the_shelf(alarm) if alarm.state is State.SHELVED else _anew(alarm)
    return _change(alarm, Event.REMOVED, at_ms, by, **facts)


def placed(alarm: Alarm, at_ms: int, by: str | None = None, group: str | None = None) -> Change:
    """Its probe is back in service: a condition that holds calls anew."""
    return _change(alarm, Event.PLACED, at_ms, by, **_FREE, group=group)


def released(alarm: Alarm, at_ms: int) -> Change:
    """The alarm that called for it is over, and this one is not: it calls for itself."""
    return _change(alarm, Event.RELEASED, at_ms, **_ON_ITS_OWN)


def withdrawn(alarm: Alarm, at_ms: int) -> Change:
    """The set-up no longer watches the point: the alarm is closed, whatever its condition."""
    return _change(alarm, Event.WITHDRAWN, at_ms, withdrawn_at_ms=at_ms)


_FREE = _Free(suppressed_because=None, suppressed_by=None)
_ON_ITS_OWN: _Facts = {"group": None, "alone_from_ms": None}
_A_KEEPERS_WORK = (Because.MAINTENANCE, Because.LID_OPEN)


def _anew(alarm: Alarm) -> _Facts:
    """As if nobody knew of it yet."""
    called = alarm.called_at_ms is not None
    return {
        "acknowledged_at_ms": None,
        "acknowledged_by": None,
        "recalls": alarm.recalls + called,
    }


def _off_the_shelf(alarm: Alarm) -> _Facts:
    return _anew(alarm) | {"shelved_until_ms": None, "shelved_by": None}


def _change(
    alarm: Alarm, event: Event, at_ms: int, by: str | None = None, **facts: Unpack[_Facts]
) -> Change:
    following = TABLE.get((alarm.state, event))
    if following is None or alarm.over:
        is_now = "over" if alarm.over else alarm.state.value
        raise Conflict(f"alarm {alarm.id} is {is_now}: it cannot be {event.value}")
    if isinstance(following, Verdict):
        known = facts.get("acknowledged_at_ms", alarm.acknowledged_at_ms) is not None
        following = (C if known else B) if alarm.standing else A
    if following is State.UNACKNOWLEDGED:
        facts["called_at_ms"] = at_ms
    return Change(replace(alarm, state=following, **facts), event, at_ms, by)
