"""Every cell of the table of states, allowed and forbidden; long walks beside a second model."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from monitor.alarms import states
from monitor.alarms.model import Alarm, Because, Condition, PointKey, Priority, State
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
    Event.REMOVED: lambda alarm, at: states.removed(alarm, "ada", at),
    Event.PLACED: states.placed,
    Event.RELEASED: states.released,
    Event.WITHDRAWN: states.withdrawn,
}

# The picture of docs/alarms.md, written out a second time; a dot forbids. The columns are in the
# order of Event; what a shelf, a suppression or service lead to is told for a condition that holds.
PICTURE = """
   raised returned replaced acknowl shelved unshelved suppr unsuppr removed placed released withdr
 A B      .        .        .       .       .         F     .       G       .      .        .
 B .      D        .        C       E       .         F     .       G       .      B        A
 C .      A        .        .       E       .         F     .       G       .      .        A
 D .      .        A        A       E       .         .     .       .       .      .        A
 E E      E        .        .       E       B         F     .       G       .      .        A
 F .      A        .        .       .       .         F     B       G       .      .        A
 G .      A        .        .       .       .         F     .       .       B      .        A
"""
LETTERS = dict(zip("ABCDEFG", State, strict=True))

CELLS = [
    (LETTERS[state], event, LETTERS.get(following))
    for state, *row in (line.split() for line in PICTURE.splitlines()[2:])
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


def test_the_picture_is_whole() -> None:
    """Every state has its row and every event its column."""
    assert len(CELLS) == len(State) * len(Event)


def test_a_shelf_that_ends_forgets_the_acknowledgement() -> None:
    """Who shelves asks to be told again: a condition that still holds calls anew."""
    alarm = states.acknowledged(states.raised(NEW, 0).alarm, "ada", 1).alarm
    alarm = states.shelved(alarm, 5000, "ada", 2).alarm
    change = states.unshelved(alarm, 5000)

    assert change.alarm == replace(states.raised(NEW, 0).alarm, called_at_ms=5000, recalls=1)
    assert change.by is None


def test_an_eclipsed_alarm_keeps_its_acknowledgement() -> None:
    """What a keeper had acknowledged before a graver alarm stays so after it."""
    alarm = states.acknowledged(states.raised(NEW, 0).alarm, "ada", 1).alarm

    eclipsed = states.suppressed(alarm, "graver", 2).alarm
    assert eclipsed.suppressed_by == "graver"
    assert states.unsuppressed(eclipsed, 3).alarm == alarm


@pytest.mark.parametrize("because", Because)
def test_a_keepers_work_takes_back_what_was_acknowledged(because: Because) -> None:
    """Who works on an enclosure wants to know whether it helped; a misting is no such work."""
    alarm = states.acknowledged(states.raised(NEW, 0).alarm, "ada", 1).alarm
    quiet = states.suppressed(alarm, "ada", 2, because=because).alarm
    after = states.unsuppressed(quiet, 3).alarm

    anew = because in (Because.MAINTENANCE, Because.LID_OPEN)
    assert after.state is (State.UNACKNOWLEDGED if anew else State.ACKNOWLEDGED)
    assert after.recalls == anew
    assert after.suppressed_because is None


def test_an_alarm_back_in_service_calls_anew() -> None:
    """What was known of a probe that was out of service counts for nothing."""
    alarm = states.acknowledged(states.raised(NEW, 0).alarm, "ada", 1).alarm
    gone = states.removed(alarm, "ada", 2).alarm
    assert (gone.suppressed_because, gone.suppressed_by) == (Because.OUT_OF_SERVICE, "ada")

    back = states.placed(gone, 3, "eve")
    assert (back.alarm.state, back.by) == (State.UNACKNOWLEDGED, "eve")
    assert (back.alarm.called_at_ms, back.alarm.recalls) == (3, 1)


def test_an_alarm_knows_since_when_it_calls() -> None:
    """Since its raising, or since that is over which kept it quiet; only a recall is counted."""
    raised = states.raised(NEW, 7).alarm
    assert (raised.called_at_ms, raised.recalls) == (7, 0)

    eclipsed = states.suppressed(raised, "graver", 8).alarm
    again = states.unsuppressed(eclipsed, 9).alarm
    assert (again.called_at_ms, again.recalls) == (9, 0)

    quiet = states.suppressed(NEW, "ada", 7, because=Because.MAINTENANCE).alarm
    assert quiet.called_at_ms is None
    first = states.unsuppressed(quiet, 8).alarm
    assert (first.called_at_ms, first.recalls) == (8, 0)


@pytest.mark.parametrize("event", [Event.SHELVED, Event.SUPPRESSED, Event.REMOVED, Event.RELEASED])
def test_what_sets_an_alarm_aside_takes_it_out_of_its_group(event: Event) -> None:
    """It was dealt with by itself: what comes after is between it and the keeper."""
    grouped = replace(states.raised(NEW, 7, group="first").alarm, alone_from_ms=9)
    alarm = MOVES[event](grouped, 8).alarm

    assert (alarm.group, alarm.alone_from_ms) == (None, None)


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
    in_service: bool = True
    closed: bool = False
    born: bool = False

    def allows(self, event: Event) -> bool:
        """Whether an event makes sense as the flags are."""
        if self.closed:
            return False
        if not self.born:
            return event in (Event.RAISED, Event.SUPPRESSED, Event.REMOVED)
        free = not self.shelved and not self.suppressed and self.in_service
        return {
            Event.RAISED: self.shelved,
            Event.RETURNED: self.shelved or self.active,
            Event.REPLACED: free and not self.active,
            Event.ACKNOWLEDGED: free and not self.acked,
            Event.SHELVED: not self.suppressed and self.in_service,
            Event.UNSHELVED: self.shelved,
            Event.SUPPRESSED: True,
            Event.UNSUPPRESSED: self.suppressed,
            Event.REMOVED: self.in_service,
            Event.PLACED: not self.in_service,
            Event.RELEASED: free and self.active and not self.acked,
            Event.WITHDRAWN: True,
        }[event]

    def take(self, event: Event, because: Because) -> None:
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
            work = because in (Because.MAINTENANCE, Because.LID_OPEN)
            self.acked = self.acked and not self.shelved and not work
            self.suppressed, self.shelved, self.in_service = True, False, True
        elif event is Event.UNSUPPRESSED:
            self.suppressed = False
        elif event is Event.REMOVED:
            self.in_service = self.suppressed = self.shelved = self.acked = False
        elif event is Event.PLACED:
            self.in_service = True
        known = self.acked or self.suppressed or not self.in_service
        quiet = not self.active and known and not self.shelved
        self.closed = quiet or event in (Event.REPLACED, Event.WITHDRAWN)

    def state(self) -> State:
        """The state that the flags amount to."""
        if self.closed or not self.born:
            return State.NORMAL
        if self.shelved:
            return State.SHELVED
        if not self.in_service:
            return State.OUT_OF_SERVICE
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

    @rule(event=st.sampled_from(Event), because=st.sampled_from(Because))
    def happen(self, event: Event, because: Because) -> None:
        """One event: both take it or both refuse it."""
        self.at_ms += 1000
        # Only a condition that holds is kept quiet; the desk sees to that.
        if event in (Event.SUPPRESSED, Event.REMOVED) and not self.alarm.standing:
            return
        if not self.flags.allows(event):
            with pytest.raises(Conflict):
                MOVES[event](self.alarm, self.at_ms)
            return
        if event is Event.SUPPRESSED:
            self.alarm = states.suppressed(self.alarm, "x", self.at_ms, because=because).alarm
        else:
            self.alarm = MOVES[event](self.alarm, self.at_ms).alarm
        self.flags.take(event, because)

    @invariant()
    def agree(self) -> None:
        """Same state, and an alarm is over when the flags are closed."""
        assert self.alarm.state is self.flags.state()
        assert self.alarm.over is self.flags.closed
        assert self.alarm.standing is (self.flags.active and self.alarm.withdrawn_at_ms is None)


Walk.TestCase.settings = settings(max_examples=200, stateful_step_count=30, deadline=None)
test_any_walk_agrees_with_independent_flags: Any = Walk.TestCase
