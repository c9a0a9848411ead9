"""Every cell of the table of states, allowed and forbidden; long walks beside a second model."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from monitor.alarms import states
from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.states import TABLE, Change, Event
from monitor.errors import Conflict
from monitor.quantities import Quantity
from monitor.setup.models import Zone

POINT = PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
NEW = Alarm(
    id=f"{POINT}.1000",
    point=POINT,
    zone=Zone.CANOPY,
    priority=Priority.WARNING,
    state=State.NORMAL,
    since_ms=0,
    raised_at_ms=1000,
    value=46.0,
    limit=60.0,
    extreme=46.0,
)

MOVES: dict[Event, Callable[[Alarm, int], Change]] = {
    Event.RAISED: states.raised,
    Event.RETURNED: states.returned,
    Event.REPLACED: states.replaced,
    Event.ACKNOWLEDGED: lambda alarm, at: states.acknowledged(alarm, "ada", at),
    Event.SHELVED: lambda alarm, at: states.shelved(alarm, at + 60_000, "ada", at),
    Event.UNSHELVED: states.unshelved,
    Event.SUPPRESSED: lambda alarm, at: states.suppressed(alarm, "graver", at),
    Event.UNSUPPRESSED: states.unsuppressed,
    Event.WITHDRAWN: states.withdrawn,
}

NORMAL, UNACKNOWLEDGED, ACKNOWLEDGED, RETURNED, SHELVED, SUPPRESSED, OUT = State

# The picture of docs/alarms.md, written out a second time: state -> event -> next state.
# None forbids; the columns are in the order of Event.
PICTURE: dict[State, list[State | None]] = {
    #                RAISED          RETURNED  REPLACED ACKNOWLEDGED SHELVED
    #                UNSHELVED       SUPPRESSED UNSUPPRESSED   WITHDRAWN
    NORMAL:         [UNACKNOWLEDGED, None,     None,    None,         None,
                     None,           SUPPRESSED, None,         None],
    UNACKNOWLEDGED: [None,           RETURNED, None,    ACKNOWLEDGED, SHELVED,
                     None,           SUPPRESSED, None,         NORMAL],
    ACKNOWLEDGED:   [None,           NORMAL,   None,    None,         SHELVED,
                     None,           SUPPRESSED, None,         NORMAL],
    RETURNED:       [None,           None,     NORMAL,  NORMAL,       SHELVED,
                     None,           None,       None,         NORMAL],
    SHELVED:        [SHELVED,        SHELVED,  None,    None,         SHELVED,
                     UNACKNOWLEDGED, SUPPRESSED, None,         NORMAL],
    SUPPRESSED:     [None,           NORMAL,   None,    None,         None,
                     None,           None,       UNACKNOWLEDGED, NORMAL],
    OUT:            [None] * 9,
}  # fmt: skip

CELLS = [
    (state, event, following)
    for state, row in PICTURE.items()
    for event, following in zip(Event, row, strict=True)
]


@pytest.mark.parametrize(("state", "event", "following"), CELLS)
def test_every_cell_of_the_table(state: State, event: Event, following: State | None) -> None:
    """An allowed event leads where the picture says; a forbidden one is refused in words."""
    alarm = replace(NEW, state=state, returned_at_ms=2000 if state is State.RETURNED else None)

    if following is None:
        with pytest.raises(
            Conflict, match=rf"^alarm {alarm.id} is {state.value}: it cannot be {event.value}$"
        ):
            MOVES[event](alarm, 3000)
    else:
        change = MOVES[event](alarm, 3000)

        assert (change.alarm.state, change.event, change.at_ms) == (following, event, 3000)
        assert (state, event) in TABLE


def test_an_alarm_that_is_over_is_left_alone() -> None:
    """After its end nothing can be done to an alarm, not even what a new one allows."""
    over = states.returned(states.acknowledged(states.raised(NEW, 0).alarm, "ada", 1).alarm, 2)

    for move in MOVES.values():
        with pytest.raises(Conflict, match="is over: it cannot be"):
            move(over.alarm, 3)


def test_a_shelf_must_end_in_the_future() -> None:
    """To shelve until a time that is past would be to do nothing: it is refused."""
    with pytest.raises(Conflict, match="until 1970-01-01T00:00:05Z: that is past; name a time"):
        states.shelved(states.raised(NEW, 0).alarm, 5000, "ada", 5000)


def test_a_shelf_that_ends_forgets_the_acknowledgement() -> None:
    """Who shelves asks to be told again: a condition that still holds calls anew."""
    alarm = states.acknowledged(states.raised(NEW, 0).alarm, "ada", 1).alarm
    alarm = states.shelved(alarm, 5000, "ada", 2).alarm
    change = states.unshelved(alarm, 5000)

    assert change.alarm == replace(states.raised(NEW, 0).alarm, called_at_ms=5000, recalls=1)
    assert change.by is None


def test_an_alarm_knows_since_when_it_calls() -> None:
    """Since its raising, or since the graver alarm is over that silenced it: that is no recall."""
    raised = states.raised(NEW, 7).alarm
    assert (raised.called_at_ms, raised.recalls) == (7, 0)

    eclipsed = states.suppressed(raised, "graver", 8).alarm
    again = states.unsuppressed(eclipsed, 9).alarm
    assert (again.called_at_ms, again.recalls) == (9, 0)


def test_an_eclipsed_alarm_keeps_its_acknowledgement() -> None:
    """What a keeper had acknowledged before a graver alarm stays so after it."""
    alarm = states.acknowledged(states.raised(NEW, 0).alarm, "ada", 1).alarm

    eclipsed = states.suppressed(alarm, "graver", 2).alarm
    assert eclipsed.suppressed_by == "graver"
    assert states.unsuppressed(eclipsed, 3).alarm == alarm


def test_a_change_names_the_keeper() -> None:
    """An act carries who did it, and the alarm remembers."""
    change = states.acknowledged(states.raised(NEW, 0).alarm, "ada", 7)

    assert change.by == "ada"
    assert (change.alarm.acknowledged_at_ms, change.alarm.acknowledged_by) == (7, "ada")


@dataclass
class Flags:
    """The second model: independent facts in the manner of OPC 10000-9, no states at all."""

    active: bool = True
    acked: bool = False
    shelved: bool = False
    suppressed: bool = False
    closed: bool = False
    born: bool = False

    def allows(self, event: Event) -> bool:
        """Whether an event makes sense as the flags are."""
        if self.closed:
            return False
        if not self.born:
            return event in (Event.RAISED, Event.SUPPRESSED)
        free = not self.shelved and not self.suppressed
        return {
            Event.RAISED: self.shelved,
            Event.RETURNED: self.shelved or self.active,
            Event.REPLACED: free and not self.active,
            Event.ACKNOWLEDGED: free and not self.acked,
            Event.SHELVED: not self.suppressed,
            Event.UNSHELVED: self.shelved,
            Event.SUPPRESSED: self.shelved or (free and self.active),
            Event.UNSUPPRESSED: self.suppressed,
            Event.WITHDRAWN: True,
        }[event]

    def take(self, event: Event) -> None:
        """Turn the flags."""
        self.born = True
        if event is Event.RAISED:
            self.active = True
        elif event is Event.RETURNED:
            self.active = False
        elif event is Event.ACKNOWLEDGED:
            self.acked = True
        elif event is Event.SHELVED:
            self.shelved = True
        elif event is Event.UNSHELVED:
            # To shelve is to have seen: nothing is left to acknowledge of what is gone.
            self.shelved, self.acked = False, not self.active
        elif event is Event.SUPPRESSED:
            self.suppressed, self.acked = True, self.acked and not self.shelved
            self.shelved = False
        elif event is Event.UNSUPPRESSED:
            self.suppressed = False
        quiet = not self.active and (self.acked or self.suppressed) and not self.shelved
        self.closed = quiet or event in (Event.REPLACED, Event.WITHDRAWN)

    def state(self) -> State:
        """The state that the flags amount to."""
        if self.closed or not self.born:
            return State.NORMAL
        if self.shelved:
            return State.SHELVED
        if self.suppressed:
            return State.SUPPRESSED
        if self.active:
            return State.ACKNOWLEDGED if self.acked else State.UNACKNOWLEDGED
        return State.RETURNED


class Walk(RuleBasedStateMachine):
    """Any events in any order, to an alarm and to the flags."""

    @initialize()
    def begin(self) -> None:
        """One new alarm."""
        self.alarm = NEW
        self.flags = Flags()
        self.at_ms = 1000

    @rule(event=st.sampled_from(Event))
    def happen(self, event: Event) -> None:
        """One event: both take it or both refuse it."""
        self.at_ms += 1000
        # An eclipse begins only while the condition holds; the desk sees to that.
        if event is Event.SUPPRESSED and not self.alarm.standing:
            return
        if self.flags.allows(event):
            self.alarm = MOVES[event](self.alarm, self.at_ms).alarm
            self.flags.take(event)
        else:
            with pytest.raises(Conflict):
                MOVES[event](self.alarm, self.at_ms)

    @invariant()
    def agree(self) -> None:
        """Same state, and an alarm is over when the flags are closed."""
        assert self.alarm.state is self.flags.state()
        assert self.alarm.over is self.flags.closed
        assert self.alarm.standing is (self.flags.active and self.alarm.withdrawn_at_ms is None)


Walk.TestCase.settings = settings(max_examples=150, stateful_step_count=25, deadline=None)
test_any_walk_agrees_with_independent_flags: Any = Walk.TestCase
