"""Any life of a desk beside a second model of what it should say, restarted at every step.

The model knows no states and no events. It keeps plain facts (what was last read, who said what
until when) and works out from them, anew each time, how every alarm must stand.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from monitor.alarms.desk import AlarmDesk, Changes
from monitor.alarms.groups import ALONE_AFTER_MS
from monitor.alarms.model import BROKER, Alarm, Because, Condition, PointKey, Priority, State
from monitor.quantities import Quantity
from monitor.setup.alarming import CHATTERING_MS, AlarmSettings
from monitor.setup.models import Spans, ZoneRange
from monitor.times import HOUR_MS, MINUTE_MS
from tests.alarms.conftest import Reading, Report, Saved, World

PLACES = ("cork-cube", "moss-box")
LIMITS = {
    Quantity.TEMPERATURE: {
        Condition.LOW: 22, Condition.HIGH: 26,
        Condition.CRITICAL_LOW: 10, Condition.CRITICAL_HIGH: 32,
    },
    Quantity.HUMIDITY: {
        Condition.LOW: 60, Condition.HIGH: 80,
        Condition.CRITICAL_LOW: 35, Condition.CRITICAL_HIGH: 97,
    },
}  # fmt: skip
VALUES = {Quantity.TEMPERATURE: (5, 20, 24, 28, 40), Quantity.HUMIDITY: (30, 50, 70, 90, 99)}
GRAVER = {
    Condition.LOW: Condition.CRITICAL_LOW,
    Condition.HIGH: Condition.CRITICAL_HIGH,
}
BOTH = Spans.model_validate({"temperature": [22, 26], "humidity": [60, 80]})
RANGE = ZoneRange(
    day=BOTH,
    night=BOTH,
    critical=Spans.model_validate({"temperature": [10, 32], "humidity": [35, 97]}),
)
SETTINGS = AlarmSettings(
    on_delay_s=0,
    critical_on_delay_s=0,
    off_delay_s=0,
    deadband_humidity_pct=0,
    deadband_temperature_k=0,
    misting_settle_s=2400,
    flood_alarms=2,
)
SILENCE_MS = DEAF_MS = 5 * MINUTE_MS
SETTLE_MS = {"lid": 30 * MINUTE_MS, "mister": 40 * MINUTE_MS}


@dataclass
class Switch:
    """All that a switch reported: (at, on), and the window that excuses."""

    last: tuple[int, bool] | None = None
    window: tuple[int, int] | None = None

    def report(self, at_ms: int, on: bool, settle_ms: int) -> None:
        """Change the window if the switch was really turned."""
        lost = self.last is not None and self.last[1] and at_ms - self.last[0] > settle_ms
        turned = on != (self.last is not None and self.last[1]) or (on and lost)
        self.last = at_ms, on
        if not turned:
            return
        if self.window is not None and at_ms < self.window[1]:
            start = self.window[0]
            self.window = start, min(at_ms + settle_ms, start + 2 * settle_ms)
        elif on:
            self.window = at_ms, at_ms + settle_ms


@dataclass
class Fact:
    """What is known of one point: its occurrence, if it has one that is not over."""

    open: bool = False
    active: bool = False
    acked: bool = False
    raised_ms: int = 0
    shelf_ms: int | None = None
    raisings: list[int] = field(default_factory=list)


class Life(RuleBasedStateMachine):
    """A desk, the same desk made anew from what was saved, and the model."""

    @initialize()
    def begin(self) -> None:
        """All is well."""
        self.world = World(SETTINGS, RANGE, probes=("canopy",), places=PLACES)
        self.saved = Saved()
        self.now = 40 * HOUR_MS
        self.desk = self.world.desk(self.saved, self.now)
        self.connected = True
        self.facts: dict[PointKey, Fact] = {
            PointKey(place, "canopy", quantity, condition): Fact()
            for place in PLACES
            for quantity, limits in LIMITS.items()
            for condition in limits
        }
        for place in PLACES:
            self.facts[PointKey(place, "canopy", None, Condition.SILENT)] = Fact()
        self.facts[BROKER] = Fact()
        self.said: dict[tuple[str, Because], int] = {}
        self.gone: set[str] = set()
        self.switches = {(place, name): Switch() for place in PLACES for name in SETTLE_MS}
        self.unheard = dict.fromkeys(PLACES, 0)
        self.deaf_since: int | None = None
        self.tick()

    # -- the model --------------------------------------------------------------------------------

    def quiet_because(self, point: PointKey, fact: Fact) -> Because | None:
        """What must keep a standing alarm quiet."""
        place, _, quantity, condition = point
        if place in self.gone:
            return Because.OUT_OF_SERVICE
        ranged = condition in (Condition.LOW, Condition.HIGH)
        maintained = self.now < self.said.get((place, Because.MAINTENANCE), 0)
        if maintained and (ranged or condition is Condition.SILENT):
            return Because.MAINTENANCE
        if not ranged:
            return None
        if self.now < self.said.get((place, Because.LID_OPEN), 0) or self.excused(
            "lid", point, fact
        ):
            return Because.LID_OPEN
        too_humid = (quantity, condition) == (Quantity.HUMIDITY, Condition.HIGH)
        if too_humid and self.excused("mister", point, fact):
            return Because.MISTING
        graver = self.facts[point._replace(condition=GRAVER[condition])]
        return Because.GRAVER if graver.open and graver.active else None

    def excused(self, name: str, point: PointKey, fact: Fact) -> bool:
        """Whether a switch explains an alarm: it came in the window, and that is not over."""
        window = self.switches[point.place, name].window
        return window is not None and window[0] < fact.raised_ms and self.now < window[1]

    def expected(self, point: PointKey) -> tuple[State, Because | None] | None:
        """How the alarm of a point must stand, and why; None if there must be none."""
        fact = self.facts[point]
        if not fact.open:
            return None
        if fact.shelf_ms is not None:
            return State.SHELVED, None
        if not fact.active:
            return State.RETURNED, None
        because = self.quiet_because(point, fact)
        if because is Because.OUT_OF_SERVICE:
            return State.OUT_OF_SERVICE, because
        if because is not None:
            return State.SUPPRESSED, because
        return State.ACKNOWLEDGED if fact.acked else State.UNACKNOWLEDGED, None

    def set_active(self, point: PointKey, active: bool) -> None:
        """A condition begins or ends, or stays as it was."""
        fact = self.facts[point]
        if active and not fact.active:
            fact.active = True
            if fact.shelf_ms is None:
                fact.open, fact.acked, fact.raised_ms = True, False, self.now
                fact.raisings.append(self.now)
        elif fact.active and not active:
            quiet = self.expected(point)
            fact.active = False
            if fact.shelf_ms is None and quiet is not None and quiet[0] is not State.UNACKNOWLEDGED:
                fact.open = False

    def forget_acknowledged(self) -> None:
        """Who works on a place, or has its lid open, wants to be told anew."""
        for point, fact in self.facts.items():
            because = self.quiet_because(point, fact) if fact.active else None
            keepers = (Because.OUT_OF_SERVICE, Because.MAINTENANCE, Because.LID_OPEN)
            if fact.shelf_ms is None and because in keepers:
                fact.acked = False

    # -- both desks -------------------------------------------------------------------------------

    def do(self, act: Callable[[AlarmDesk], Changes], *readings: Reading) -> None:
        """Let the desk act, and one made anew from what was saved: they must do the same."""
        again = self.world.desk(self.saved, self.now, beside=self.desk)
        assert unordered(again.alarms) == unordered(self.desk.alarms)
        expected = act(again)
        changes = act(self.desk)
        for name in ("points", "alarms", "events", "suppressions"):
            assert unordered(getattr(changes, name)) == unordered(getattr(expected, name))
        self.saved.save(changes, readings)
        self.desk.commit(changes)

    def tick(self) -> None:
        """What time alone brings."""
        for fact in self.facts.values():
            if fact.shelf_ms is not None and fact.shelf_ms <= self.now:
                self.end_shelf(fact)
        cut_off = self.facts[BROKER].active
        if not self.connected:
            if self.deaf_since is None:
                self.deaf_since = self.now
            if self.now - self.deaf_since >= DEAF_MS:
                self.set_active(BROKER, active=True)
        else:
            self.deaf_since = None
            if cut_off:
                self.set_active(BROKER, active=False)
                self.unheard = dict.fromkeys(PLACES, 0)
            for place, unheard_ms in self.unheard.items():
                if unheard_ms >= SILENCE_MS:
                    self.set_active(PointKey(place, "canopy", None, Condition.SILENT), active=True)
        connected = self.connected
        self.do(lambda desk: desk.tick(self.now, broker_connected=connected))
        self.forget_acknowledged()

    @staticmethod
    def end_shelf(fact: Fact) -> None:
        """Judge afresh."""
        fact.shelf_ms, fact.acked, fact.open = None, False, fact.active

    # -- what happens -----------------------------------------------------------------------------

    @rule(minutes=st.sampled_from([1, 2, 4, 10, 29, 60, 130]), connected=st.booleans())
    def time_passes(self, minutes: int, connected: bool) -> None:
        """The connection may be gone when somebody looks again."""
        if self.connected:
            # Nobody noticed a loss before now: until then a probe could have been heard.
            self.unheard = {place: ms + minutes * MINUTE_MS for place, ms in self.unheard.items()}
        self.now += minutes * MINUTE_MS
        self.connected = connected
        self.tick()

    @rule(
        place=st.sampled_from(PLACES),
        quantity=st.sampled_from(list(VALUES)),
        level=st.integers(0, 4),
    )
    def reading(self, place: str, quantity: Quantity, level: int) -> None:
        """A probe sends one value."""
        self.pass_a_second()
        value = VALUES[quantity][level]
        reading = Reading(self.now, value, quantity, place=place)
        silent = PointKey(place, "canopy", None, Condition.SILENT)
        self.unheard[place] = 0
        self.set_active(silent, active=False)
        limits = LIMITS[quantity].items()
        beyond = {c: value < limit if "low" in c.value else value > limit for c, limit in limits}
        # A lesser condition returns before the graver one, and is raised after it.
        for condition in (*GRAVER, *GRAVER.values()):
            if not beyond[condition]:
                self.set_active(PointKey(place, "canopy", quantity, condition), active=False)
        for condition in (*GRAVER.values(), *GRAVER):
            if beyond[condition]:
                self.set_active(PointKey(place, "canopy", quantity, condition), active=True)
        batch = self.world.readings([reading])
        self.do(lambda desk: desk.step(batch, self.now), reading)
        self.tick()

    @rule(place=st.sampled_from(PLACES), name=st.sampled_from(["lid", "mister"]), on=st.booleans())
    def switch(self, place: str, name: str, on: bool) -> None:
        """A switch is reported."""
        self.pass_a_second()
        self.switches[place, name].report(self.now, on, SETTLE_MS[name])
        nothing = self.world.readings([])
        report = Report(place, name, self.now, on)
        self.do(lambda desk: desk.step(nothing, self.now, [report]))
        self.tick()

    @rule(
        place=st.sampled_from(PLACES),
        because=st.sampled_from([Because.MAINTENANCE, Because.LID_OPEN]),
        minutes=st.integers(1, 90),
    )
    def keeper_at_work(self, place: str, because: Because, minutes: int) -> None:
        """A keeper says until when."""
        until_ms = self.now + minutes * MINUTE_MS
        self.said[place, because] = until_ms
        self.do(lambda desk: desk.suppress(place, because, until_ms, "ada", self.now))
        self.tick()

    @precondition(lambda self: any(until > self.now for until in self.said.values()))
    @rule(data=st.data())
    def keeper_is_done(self, data: st.DataObject) -> None:
        """Before the time."""
        key = data.draw(st.sampled_from([k for k, until in self.said.items() if until > self.now]))
        self.said[key] = min(self.said[key], self.now + SETTLE_MS["lid"])
        self.do(lambda desk: desk.end_suppression(*key, self.now))
        self.tick()

    @rule(place=st.sampled_from(PLACES))
    def service(self, place: str) -> None:
        """The probe leaves, or comes back."""
        if place in self.gone:
            self.gone.remove(place)
            self.do(lambda desk: desk.place_in_service(place, "canopy", "ada", self.now))
        else:
            self.gone.add(place)
            for point, fact in self.facts.items():
                if point.place == place:
                    fact.open = fact.open and fact.active
                    fact.shelf_ms = None
            self.do(lambda desk: desk.remove_from_service(place, "canopy", "ada", self.now))
        self.tick()

    def alarms_that(self, *states: State) -> list[Alarm]:
        """Open alarms in some states, in an order that does not depend on the desk."""
        return sorted((a for a in self.desk.alarms if a.state in states), key=lambda a: a.id)

    @precondition(lambda self: self.alarms_that(State.UNACKNOWLEDGED, State.RETURNED))
    @rule(data=st.data())
    def acknowledge(self, data: st.DataObject) -> None:
        """A keeper has seen it."""
        calling = self.alarms_that(State.UNACKNOWLEDGED, State.RETURNED)
        alarm = data.draw(st.sampled_from(calling))
        fact = self.facts[alarm.point]
        fact.acked, fact.open = True, fact.active
        self.do(lambda desk: desk.acknowledge(alarm.id, "ada", self.now))
        self.tick()

    SHELVABLE = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.RETURNED, State.SHELVED)

    @precondition(lambda self: self.alarms_that(*self.SHELVABLE))
    @rule(data=st.data(), minutes=st.integers(1, 90))
    def shelve(self, data: st.DataObject, minutes: int) -> None:
        """A keeper wants quiet."""
        alarm = data.draw(st.sampled_from(self.alarms_that(*self.SHELVABLE)))
        until_ms = self.now + minutes * MINUTE_MS
        self.facts[alarm.point].shelf_ms = until_ms
        self.do(lambda desk: desk.shelve(alarm.id, until_ms, "ada", self.now))
        self.tick()

    @precondition(lambda self: self.alarms_that(State.SHELVED))
    @rule(data=st.data())
    def unshelve(self, data: st.DataObject) -> None:
        """A keeper takes it back."""
        alarm = data.draw(st.sampled_from(self.alarms_that(State.SHELVED)))
        self.end_shelf(self.facts[alarm.point])
        self.do(lambda desk: desk.unshelve(alarm.id, "ada", self.now))
        self.tick()

    def pass_a_second(self) -> None:
        """Readings and reports have their own time; nothing else happens in it."""
        self.now += 1000
        if self.connected:
            self.unheard = {place: ms + 1000 for place, ms in self.unheard.items()}

    # -- what must hold ---------------------------------------------------------------------------

    @invariant()
    def every_alarm_stands_as_the_facts_say(self) -> None:
        """State and reason of every point, and whether it chatters."""
        alarms = {alarm.point: alarm for alarm in self.desk.alarms}
        for point, fact in self.facts.items():
            alarm = alarms.pop(point, None)
            told = None if alarm is None else (alarm.state, alarm.suppressed_because)
            assert told == self.expected(point), point
            if alarm is not None:
                lately = [ms for ms in fact.raisings if ms >= alarm.raised_at_ms - CHATTERING_MS]
                assert alarm.chattering is (len(lately) >= 3)
        assert alarms == {}

    @invariant()
    def no_critical_alarm_is_hidden(self) -> None:
        """It calls for itself unless a keeper shelved it, knows it, or took its probe away."""
        for alarm in self.desk.alarms:
            if alarm.priority is Priority.CRITICAL:
                assert alarm.state is not State.SUPPRESSED
                assert alarm.group is None

    @invariant()
    def none_is_hidden_for_good(self) -> None:
        """Behind another there is one that a keeper hears of, or a time from which it calls."""
        alarms = {alarm.id: alarm for alarm in self.desk.alarms}
        for alarm in alarms.values():
            if alarm.group is None or alarm.state is not State.UNACKNOWLEDGED:
                continue
            first = alarms.get(alarm.group)
            if first is not None and first.leads:
                assert first.group is None or first.state is State.ACKNOWLEDGED
            else:
                assert alarm.alone_from_ms is not None
                assert self.now < alarm.alone_from_ms <= self.now + ALONE_AFTER_MS


def unordered(things: list[Any]) -> list[str]:
    """Changes of one moment, whose order may depend on the order in which alarms are kept."""
    return sorted(map(repr, things))


Life.TestCase.settings = settings(max_examples=100, stateful_step_count=40, deadline=None)
test_any_life_agrees_with_plain_facts: Any = Life.TestCase
