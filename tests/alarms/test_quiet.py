"""Maintenance, open lids, mistings and probes out of service, as the desk deals with them."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.alarms.desk import AlarmDesk
from monitor.alarms.model import Because, Condition, PointKey, State
from monitor.errors import Conflict, NotFound
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.times import HOUR_MS, MINUTE_MS
from tests.alarms.conftest import Reading, Report

if TYPE_CHECKING:
    from tests.alarms.conftest import Saved, World

NOON = 12 * HOUR_MS
AT_ONCE = AlarmSettings(on_delay_s=0, critical_on_delay_s=0, off_delay_s=0)
LOW = PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
HIGH = str(LOW._replace(condition=Condition.HIGH))
CRITICAL = str(LOW._replace(condition=Condition.CRITICAL_LOW))


def at(minute: float) -> int:
    """A minute after noon."""
    return NOON + round(minute * MINUTE_MS)


def humidity(minute: float, value: float) -> Reading:
    """A reading of the canopy's humidity; 60 to 80 % is its range, 35 to 100 % its limits."""
    return Reading(at(minute), value)


def warmth(minute: float, value: float) -> Reading:
    """A reading of the canopy's temperature; 22 to 26 is its range, 10 to 32 its limits."""
    return Reading(at(minute), value, Quantity.TEMPERATURE)


def feed(
    world: "World", desk: AlarmDesk, saved: "Saved", stream: Sequence[Reading | Report]
) -> None:
    """One batch that arrives at the time of its last reading."""
    world.feed(desk, saved, stream, now_ms=max(each.at_ms for each in stream))


def mister(minute: float, on: bool) -> Report:
    """A report of the mister."""
    return Report("cork-cube", "mister", at(minute), on)


def state_of(desk: AlarmDesk, point: PointKey | str) -> tuple[State, Because | None] | None:
    """State of the open alarm of a point, and why."""
    for alarm in desk.alarms:
        if str(alarm.point) == str(point):
            return alarm.state, alarm.suppressed_because
    return None


CALLS = (State.UNACKNOWLEDGED, None)
KNOWN = (State.ACKNOWLEDGED, None)
MAINTAINED = (State.SUPPRESSED, Because.MAINTENANCE)
MISTED = (State.SUPPRESSED, Because.MISTING)
OPENED = (State.SUPPRESSED, Because.LID_OPEN)
GONE = (State.OUT_OF_SERVICE, Because.OUT_OF_SERVICE)


# --- maintenance -------------------------------------------------------------------------------


def test_maintenance_quiets_what_stands_and_what_comes(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Range alarms and silence of the place are suppressed; what outlives the end calls then."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved, now_ms=at(0))
    feed(here, desk, saved, [humidity(0, 50)])
    assert state_of(desk, LOW) == CALLS

    told = saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(90), "ada", at(1)))
    assert told == [("suppressed", str(LOW))]
    feed(here, desk, saved, [warmth(2, 28)])
    saved.keep(desk, desk.tick(at(8)))
    assert {alarm.state for alarm in desk.alarms} == {State.SUPPRESSED}
    assert len(desk.alarms) == 4
    assert {alarm.suppressed_by for alarm in desk.alarms} == {"ada"}

    feed(here, desk, saved, [warmth(9, 24), humidity(9, 50)])
    assert "unsuppressed" not in dict(saved.keep(desk, desk.tick(at(90) - 1)))
    told = saved.keep(desk, desk.tick(at(90)))
    assert ("unsuppressed", str(LOW)) in told
    assert state_of(desk, LOW) == CALLS
    assert desk.suppressions == []
    assert saved.suppressions == {}


def test_maintenance_never_holds_a_critical_alarm(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """The animal may be in there, and the keeper may have been called away."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(90), "ada", at(0)))
    feed(here, desk, saved, [warmth(1, 33), humidity(1, 30)])

    called = [alarm for alarm in desk.alarms if alarm.state is State.UNACKNOWLEDGED]
    assert [alarm.priority.value for alarm in called] == ["critical", "critical"]
    assert state_of(desk, LOW) == MAINTAINED


def test_maintenance_done_early_leaves_the_climate_time_to_settle(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """It ends half an hour after the keeper says so, and never later than was said at first."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(90), "ada", at(0)))
    saved.keep(desk, desk.end_suppression("cork-cube", Because.MAINTENANCE, at(10)))
    assert [each.until_ms for each in desk.suppressions] == [at(40)]

    saved.keep(desk, desk.end_suppression("cork-cube", Because.MAINTENANCE, at(20)))
    assert [each.until_ms for each in desk.suppressions] == [at(40)]
    saved.keep(desk, desk.tick(at(40)))
    with pytest.raises(Conflict, match="cork-cube: no maintenance is in force"):
        desk.end_suppression("cork-cube", Because.MAINTENANCE, at(41))


def test_maintenance_takes_back_what_was_acknowledged(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Who comes to mend it is told if it is not mended; what returned meanwhile is over."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    feed(here, desk, saved, [humidity(0, 50), warmth(0, 28)])
    for alarm in desk.alarms:
        saved.keep(desk, desk.acknowledge(alarm.id, "ada", at(1)))
    saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(60), "ada", at(2)))
    feed(here, desk, saved, [warmth(5, 24)])
    assert [alarm.point for alarm in desk.alarms] == [LOW]

    saved.keep(desk, desk.tick(at(60)))
    assert state_of(desk, LOW) == CALLS


def test_a_shelf_inside_of_maintenance_ends_quietly(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A shelved alarm stays on its shelf; when that ends maintenance still holds it."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    feed(here, desk, saved, [humidity(0, 50)])
    saved.keep(desk, desk.shelve(desk.alarms[0].id, at(30), "ada", at(1)))
    saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(60), "ada", at(2)))
    assert state_of(desk, LOW) == (State.SHELVED, None)

    saved.keep(desk, desk.tick(at(30)))
    assert state_of(desk, LOW) == MAINTAINED


def test_reasons_hand_over(world: "type[World]", store: "type[Saved]") -> None:
    """An alarm with several reasons stays quiet until the last is gone, and names the one left."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    feed(here, desk, saved, [humidity(0, 30)])
    assert state_of(desk, LOW) == (State.SUPPRESSED, Because.GRAVER)
    saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(60), "ada", at(1)))
    assert state_of(desk, LOW) == MAINTAINED
    saved.keep(desk, desk.suppress("cork-cube", Because.LID_OPEN, at(70), "ada", at(2)))
    saved.keep(desk, desk.tick(at(60)))
    assert state_of(desk, LOW) == OPENED
    saved.keep(desk, desk.tick(at(70)))
    assert state_of(desk, LOW) == (State.SUPPRESSED, Because.GRAVER)

    feed(here, desk, saved, [humidity(71, 50)])
    assert state_of(desk, LOW) == CALLS


def test_what_a_keeper_says_must_make_sense(world: "type[World]", store: "type[Saved]") -> None:
    """A place that is watched, an end that is to come and not too far, a reason that is theirs."""
    desk = world().desk(store())

    with pytest.raises(NotFound, match="no place 'moss-box' is watched"):
        desk.suppress("moss-box", Because.MAINTENANCE, at(60), "ada", at(0))
    with pytest.raises(
        Conflict, match=r"maintenance of cork-cube cannot last until .* that is past"
    ):
        desk.suppress("cork-cube", Because.MAINTENANCE, at(0), "ada", at(0))
    with pytest.raises(Conflict, match=r"that is more than 24 h ahead \(longest_quiet_s\)"):
        desk.suppress("cork-cube", Because.LID_OPEN, at(24 * 60) + 1, "ada", at(0))
    assert desk.suppress("cork-cube", Because.LID_OPEN, at(24 * 60), "ada", at(0))
    with pytest.raises(ValueError, match="'misting' is not a keeper's to say"):
        desk.suppress("cork-cube", Because.MISTING, at(60), "ada", at(0))


def test_a_shelf_has_a_longest_time(world: "type[World]", store: "type[Saved]") -> None:
    """No alarm can be put away for longer than a day, nor until a time that is past."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    feed(here, desk, saved, [humidity(0, 50)])
    (alarm,) = desk.alarms

    with pytest.raises(
        Conflict, match=r"cannot be shelved until 1970-01-01T12:00:00Z: that is past"
    ):
        desk.shelve(alarm.id, at(0), "ada", at(0))
    with pytest.raises(Conflict, match="that is more than 24 h ahead"):
        desk.shelve(alarm.id, at(24 * 60) + 1, "ada", at(0))
    assert desk.shelve(alarm.id, at(24 * 60), "ada", at(0))


# --- misting and lids --------------------------------------------------------------------------


def test_a_misting_excuses_the_humidity_it_makes(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Too high after a misting is no alarm, until it has had its time to go; then it is."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    feed(here, desk, saved, [mister(0, True), humidity(1, 90), mister(1, False)])
    assert state_of(desk, HIGH) == MISTED

    assert not [c for c in desk.tick(at(61) - 1).events if str(c.alarm.point) == HIGH]
    told = saved.keep(desk, desk.tick(at(61)))
    assert ("unsuppressed", HIGH) in told
    assert state_of(desk, HIGH) == CALLS


def test_a_misting_that_dries_off_in_time_tells_nobody(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """The alarm comes and goes without a call, and leaves no suppression behind."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    mist: list[Reading | Report] = [
        mister(0, True),
        mister(0.1, False),
        humidity(1, 90),
        humidity(40, 75),
    ]
    feed(here, desk, saved, mist)
    saved.keep(desk, desk.tick(at(61)))

    assert [told[:2] for told in saved.told() if "humidity" in told[1]] == [
        ("suppressed", HIGH),
        ("returned", HIGH),
    ]
    assert state_of(desk, HIGH) is None
    assert saved.suppressions == {}


def test_a_misting_hides_nothing_else(world: "type[World]", store: "type[Saved]") -> None:
    """Not dryness, heat or a critical limit, not the neighbours, not what was there before."""
    saved, here = store(), world(AT_ONCE, places=("cork-cube", "moss-box"))
    desk = here.desk(saved)
    feed(here, desk, saved, [humidity(0, 90)])
    neighbour = humidity(2, 90)._replace(place="moss-box")
    feed(here, desk, saved, [mister(1, True), warmth(2, 33), neighbour])
    assert {alarm.state for alarm in desk.alarms if alarm.point.condition is Condition.HIGH} == {
        State.UNACKNOWLEDGED,
        State.SUPPRESSED,  # behind the critical heat
    }
    assert state_of(desk, HIGH) == CALLS
    assert state_of(desk, "cork-cube.canopy.temperature.critical-high") == CALLS
    assert state_of(desk, "moss-box.canopy.humidity.high") == CALLS

    feed(here, desk, saved, [humidity(3, 50)])
    assert state_of(desk, LOW) == CALLS


def test_a_mister_that_is_stuck_is_told(world: "type[World]", store: "type[Saved]") -> None:
    """One that says on and on that it runs is excused for its settling time and no more."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    for minute in range(0, 200, 10):
        reports: list[Reading | Report] = [mister(minute, True), humidity(minute + 1, 95)]
        feed(here, desk, saved, reports)
        saved.keep(desk, desk.tick(at(minute + 1)))
        assert state_of(desk, HIGH) == (MISTED if minute < 60 else CALLS)


def test_an_open_lid_excuses_the_air_and_is_not_forgotten(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A switch at the lid: half an hour open, and half an hour after it was closed."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    lid = [Report("cork-cube", "lid", at(0), True), Report("cork-cube", "lid", at(20), False)]
    feed(here, desk, saved, [lid[0], humidity(1, 50), warmth(1, 20), lid[1]])
    assert state_of(desk, LOW) == OPENED
    assert state_of(desk, "cork-cube.canopy.temperature.low") == OPENED
    saved.keep(desk, desk.tick(at(50) - 1))
    assert state_of(desk, LOW) == OPENED
    saved.keep(desk, desk.tick(at(50)))
    assert state_of(desk, LOW) == CALLS


def test_switches_that_mean_nothing_here_are_passed_by(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Any device may report anything."""
    desk = world().desk(store())
    report = Report("cork-cube", "pump", at(0), True)

    assert not desk.step(world().readings([]), at(0), [report])


def test_a_switch_with_a_fast_clock_reports_from_now(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A misting of tomorrow is one of now."""
    saved, here = store(), world()
    desk = here.desk(saved)
    here.feed(desk, saved, [mister(24 * 60, True)], now_ms=at(5))

    assert [each.since_ms for each in desk.suppressions] == [at(5)]


# --- out of service ----------------------------------------------------------------------------


def test_nothing_of_a_probe_out_of_service_counts(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Its alarms leave, critical ones too, new ones stay quiet; what returned is over."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    feed(here, desk, saved, [humidity(0, 50), warmth(0, 28), warmth(1, 24)])
    assert len(desk.alarms) == 2
    told = saved.keep(desk, desk.remove_from_service("cork-cube", "canopy", "ada", at(2), "drifts"))
    warm = "cork-cube.canopy.temperature.high"
    assert told == [("acknowledged", warm), ("removed-from-service", str(LOW))]

    feed(here, desk, saved, [humidity(3, 20), warmth(3, 40)])
    saved.keep(desk, desk.tick(at(9)))
    quiet = [alarm for alarm in desk.alarms if alarm.point.probe == "canopy"]
    assert len(quiet) == 5
    assert {(alarm.state, alarm.suppressed_because, alarm.suppressed_by) for alarm in quiet} == {
        (*GONE, "ada")
    }
    assert [(each.why, each.since_ms) for each in desk.suppressions] == [("drifts", at(2))]
    assert state_of(desk, "cork-cube.floor.silent") == CALLS


def test_a_probe_back_in_service_is_judged_afresh(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """What holds calls anew, the graver alone; what does not is over already."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    saved.keep(desk, desk.remove_from_service("cork-cube", "canopy", "ada", at(0)))
    feed(here, desk, saved, [humidity(1, 20), warmth(1, 40), warmth(2, 24)])
    changes = desk.place_in_service("cork-cube", "canopy", "eve", at(3))
    assert {change.by for change in changes.events} == {"eve"}
    saved.keep(desk, changes)

    assert state_of(desk, CRITICAL) == CALLS
    assert state_of(desk, LOW) == (State.SUPPRESSED, Because.GRAVER)
    assert len(desk.alarms) == 2
    assert saved.suppressions == {}


def test_a_shelf_ends_with_the_service_of_its_probe(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A shelved alarm that holds leaves with its probe, one that does not is over."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    feed(here, desk, saved, [humidity(0, 50), warmth(0, 28)])
    for alarm in desk.alarms:
        saved.keep(desk, desk.shelve(alarm.id, at(60), "ada", at(1)))
    feed(here, desk, saved, [warmth(2, 24)])
    told = saved.keep(desk, desk.remove_from_service("cork-cube", "canopy", "ada", at(3)))
    warm = "cork-cube.canopy.temperature.high"
    assert told == [("unshelved", warm), ("removed-from-service", str(LOW))]
    assert desk.alarms[0].shelved_until_ms is None


def test_service_must_make_sense(world: "type[World]", store: "type[Saved]") -> None:
    """Only a probe that is there leaves, once, and only one that left comes back."""
    saved = store()
    desk = world().desk(saved)
    with pytest.raises(NotFound, match="no probe cork-cube/attic is watched"):
        desk.remove_from_service("cork-cube", "attic", "ada", at(0))
    with pytest.raises(Conflict, match="probe cork-cube/canopy is in service"):
        desk.place_in_service("cork-cube", "canopy", "ada", at(0))
    saved.keep(desk, desk.remove_from_service("cork-cube", "canopy", "ada", at(0)))
    with pytest.raises(Conflict, match="probe cork-cube/canopy is out of service already"):
        desk.remove_from_service("cork-cube", "canopy", "ada", at(0))


# --- kept and forgotten ------------------------------------------------------------------------


def test_what_keeps_alarms_quiet_survives_a_restart(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """The new desk knows the same reasons and ends them at the same time."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(60), "ada", at(0), "moss"))
    saved.keep(desk, desk.remove_from_service("cork-cube", "floor", "ada", at(0)))
    feed(here, desk, saved, [mister(0, True), humidity(1, 90)])

    again = here.desk(saved, now_ms=at(2), beside=desk)
    assert again.suppressions == desk.suppressions
    assert again.alarms == desk.alarms
    assert again.tick(at(60)).events == desk.tick(at(60)).events


def test_reasons_go_with_their_place_and_probe(world: "type[World]", store: "type[Saved]") -> None:
    """A set-up without a probe or a place forgets what was said of it."""
    saved, here = store(), world()
    desk = here.desk(saved)
    saved.keep(desk, desk.suppress("cork-cube", Because.MAINTENANCE, at(60), "ada", at(0)))
    saved.keep(desk, desk.remove_from_service("cork-cube", "floor", "ada", at(0)))

    desk, changes = desk.rebuilt(world(probes=("canopy",)).rules, at(1))
    saved.save(changes)
    assert [each.because for each in desk.suppressions] == [Because.MAINTENANCE]
    desk, changes = desk.rebuilt(world(places=("moss-box",)).rules, at(2))
    saved.save(changes)
    assert desk.suppressions == []
    assert saved.suppressions == {}


ITEMS = st.lists(
    st.tuples(
        st.sampled_from([0, 0, 1, 5, 25]),
        st.sampled_from(["cork-cube", "moss-box", "fern-jar"]),
        st.one_of(
            st.tuples(st.sampled_from(["lid", "mister"]), st.booleans()),
            st.tuples(
                st.sampled_from([Quantity.HUMIDITY, Quantity.TEMPERATURE]),
                st.sampled_from([0.0, 0.4, 0.55, 0.8, 1.0]),
            ),
        ),
    ),
    max_size=60,
)
"""Minutes since the last one, place, and a switch with its position or a quantity with a value."""


@given(items=ITEMS, cuts=st.lists(st.integers(0, 60), max_size=8))
@settings(deadline=None)
def test_batches_with_reports_may_be_cut_anywhere(
    world: "type[World]", store: "type[Saved]", items: Any, cuts: list[int]
) -> None:
    """Mistings, open lids and floods come out the same however readings and reports are cut."""
    here = world(
        AlarmSettings(on_delay_s=60, critical_on_delay_s=0, off_delay_s=0, flood_alarms=2),
        places=("cork-cube", "moss-box", "fern-jar"),
    )
    minute, stream = 0, list[Reading | Report]()
    for pause, place, (what, how) in items:
        minute += pause
        if isinstance(what, Quantity):
            value = how * 100 if what is Quantity.HUMIDITY else 8 + how * 30
            stream.append(Reading(at(minute), value, what, place=place))
        else:
            stream.append(Report(place, what, at(minute), how))
    runs = []
    for some in ([], cuts, range(len(stream))):
        saved = store()
        kept = [cut for cut in some if cut < len(stream)]
        here.feed(here.desk(saved), saved, stream, kept, now_ms=at(minute))
        runs.append((saved.events, saved.alarms, saved.memories, saved.suppressions))

    assert runs[0] == runs[1] == runs[2]
