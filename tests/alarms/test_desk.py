"""The desk: one step after the other, dropped or saved, cut anywhere, stopped and started again."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.alarms.desk import AlarmDesk
from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.errors import Conflict, NotFound
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.models import Spans, Zone, ZoneRange
from monitor.times import HOUR_MS, MINUTE_MS

if TYPE_CHECKING:
    from tests.alarms.conftest import Reading, Saved, World

NOON = 12 * HOUR_MS
POINT = PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW)


def at(minute: float) -> int:
    """A minute after noon."""
    return NOON + round(minute * MINUTE_MS)


def dry(reading: "type[Reading]", *minutes_and_values: tuple[float, float]) -> list["Reading"]:
    """Humidity of the canopy."""
    return [reading(at(minute), value) for minute, value in minutes_and_values]


def raised_low(world: "World", saved: "Saved", reading: "type[Reading]") -> AlarmDesk:
    """A desk at which ``low`` has just been raised."""
    desk = world.desk(saved)
    world.feed(desk, saved, dry(reading, (0, 52), (10, 48), (20, 50)))
    return desk


def test_a_raised_alarm_says_what_happened(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Crossing, raising, value, limit and worst value are those of the readings."""
    saved = store()
    desk = raised_low(world(), saved, reading)

    assert desk.alarms == [
        Alarm(
            id=f"cork-cube.canopy.humidity.low.{at(20)}",
            point=POINT,
            zone=Zone.CANOPY,
            priority=Priority.WARNING,
            state=State.UNACKNOWLEDGED,
            since_ms=at(0),
            raised_at_ms=at(20),
            value=50.0,
            limit=60.0,
            extreme=48.0,
            called_at_ms=at(20),
        )
    ]
    assert saved.told() == [("raised", str(POINT), at(20))]


def test_acknowledged_and_returned_is_over(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """B to C by the keeper, C to A by the air; then the desk knows it no more."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)
    (alarm,) = desk.alarms
    changes = desk.acknowledge(alarm.id, "ada", at(21))
    saved.save(changes)
    desk.commit(changes)
    assert desk.alarms[0].state is State.ACKNOWLEDGED

    here.feed(desk, saved, dry(reading, (22, 40), (30, 70), (35, 70)))
    assert desk.alarms == []
    assert saved.events[-1].alarm.extreme == 40.0
    with pytest.raises(NotFound, match=f"no open alarm has the id '{alarm.id}'"):
        desk.acknowledge(alarm.id, "ada", at(40))


def test_two_crashes_in_a_night_are_two_alarms(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """A second raising closes the occurrence that nobody acknowledged and opens a new one."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)
    here.feed(desk, saved, dry(reading, (30, 70), (35, 70), (40, 50), (60, 50)))

    assert saved.told() == [
        ("raised", str(POINT), at(20)),
        ("returned", str(POINT), at(35)),
        ("replaced", str(POINT), at(60)),
        ("raised", str(POINT), at(60)),
    ]
    assert [alarm.raised_at_ms for alarm in desk.alarms] == [at(60)]
    assert list(saved.alarms) == [desk.alarms[0].id]


def test_an_alarm_that_gets_worse_is_saved_but_not_told(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """A new worst value changes the alarm and tells nobody."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)

    worse = desk.step(here.readings(dry(reading, (21, 41))), now_ms=0)
    assert worse
    assert [alarm.extreme for alarm in worse.alarms] == [41.0]
    assert worse.events == []
    hot = [reading(at(minute), 26 + minute, Quantity.TEMPERATURE) for minute in (1, 3, 5)]
    quick = world(AlarmSettings(on_delay_s=0))
    other = quick.desk()
    quick.feed(other, store(), hot)
    assert [(alarm.value, alarm.extreme) for alarm in other.alarms] == [(27.0, 31.0)]
    milder = desk.step(here.readings(dry(reading, (21, 55))), now_ms=0)
    assert not milder


# --- one event, one call -----------------------------------------------------------------------


def states_of(desk: AlarmDesk) -> dict[str, str]:
    """Open alarms by condition."""
    return {alarm.point.condition.value: alarm.state.value for alarm in desk.alarms}


def test_a_crash_calls_once(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """While critical-low stands, low is raised suppressed; after it, low stands on its own."""
    saved = store()
    here = world()
    desk = here.desk(saved)
    grave = str(POINT._replace(condition=Condition.CRITICAL_LOW))
    here.feed(desk, saved, dry(reading, (0, 30), (3, 30), (20, 30)))
    assert states_of(desk) == {"critical-low": "unacknowledged", "low": "suppressed"}

    here.feed(desk, saved, dry(reading, (30, 50), (35, 50)))
    assert states_of(desk) == {"critical-low": "returned-unacknowledged", "low": "unacknowledged"}
    assert saved.told() == [
        ("raised", grave, at(3)),
        ("suppressed", str(POINT), at(20)),
        ("returned", grave, at(35)),
        ("unsuppressed", str(POINT), at(35)),
    ]
    assert saved.events[1].alarm.suppressed_by == grave


def test_what_was_acknowledged_stays_so_behind_a_graver_alarm(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """A low alarm that turns critical is eclipsed and comes back as acknowledged as it was."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)
    desk.commit(desk.acknowledge(desk.alarms[0].id, "ada", at(21)))
    here.feed(desk, saved, dry(reading, (30, 30), (33, 30)))
    assert states_of(desk) == {"low": "suppressed", "critical-low": "unacknowledged"}

    here.feed(desk, saved, dry(reading, (40, 50), (45, 50)))
    assert states_of(desk) == {"low": "acknowledged", "critical-low": "returned-unacknowledged"}


def test_a_graver_alarm_that_has_returned_eclipses_nothing(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """A critical alarm that only waits for its acknowledgement does not silence a new fall."""
    saved = store()
    here = world()
    desk = here.desk(saved)
    crash = ((0, 30), (3, 30), (10, 70), (15, 70), (20, 50), (40, 50))
    here.feed(desk, saved, dry(reading, *crash))

    assert states_of(desk) == {"critical-low": "returned-unacknowledged", "low": "unacknowledged"}


def test_a_full_recovery_ends_both_without_a_word_on_the_lesser(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """When both return with one reading the lesser is over before the graver unveils it."""
    saved = store()
    here = world()
    desk = here.desk(saved)
    here.feed(desk, saved, dry(reading, (0, 30), (20, 30), (30, 70), (35, 70)))

    assert states_of(desk) == {"critical-low": "returned-unacknowledged"}
    assert [event for event, _, _ in saved.told()] == [
        "raised",
        "suppressed",
        "returned",
        "returned",
    ]


def test_both_raised_by_one_reading_call_once(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """With equal delays the graver is raised first, so the lesser never calls."""
    saved = store()
    here = world(AlarmSettings(on_delay_s=0, critical_on_delay_s=0))
    here.feed(here.desk(saved), saved, dry(reading, (0, 30)))

    assert [(event, point.rpartition(".")[2]) for event, point, _ in saved.told()] == [
        ("raised", "critical-low"),
        ("suppressed", "low"),
    ]


def test_the_other_side_and_other_series_are_not_eclipsed(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Critical dryness says nothing of heat."""
    saved = store()
    here = world()
    desk = here.desk(saved)
    hot = [reading(at(minute), 28, Quantity.TEMPERATURE) for minute in (0, 20)]
    here.feed(desk, saved, dry(reading, (0, 30), (20, 30)) + hot)

    assert [(a.point.quantity, a.state) for a in desk.alarms if a.priority is Priority.WARNING] == [
        (Quantity.HUMIDITY, State.SUPPRESSED),
        (Quantity.TEMPERATURE, State.UNACKNOWLEDGED),
    ]


# --- silence and shelves -----------------------------------------------------------------------


def test_a_silent_probe_is_raised_and_heard_again(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Silence is counted on the daemon's clock, from the start if nothing ever came."""
    saved = store()
    here = world(probes=("canopy",))
    desk = here.desk(saved, now_ms=1000)
    assert not desk.tick(1000 + 5 * MINUTE_MS - 1)

    changes = desk.tick(1000 + 5 * MINUTE_MS)
    saved.save(changes)
    desk.commit(changes)
    (alarm,) = desk.alarms
    assert (alarm.point.condition, alarm.since_ms, alarm.value) == (Condition.SILENT, 1000, None)
    assert not desk.tick(10 * MINUTE_MS)

    # A device whose clock is a day slow still breaks the silence when its message arrives.
    changes = desk.step(here.readings([reading(5, 70)]), now_ms=11 * MINUTE_MS)
    saved.save(changes)
    desk.commit(changes)
    assert saved.told() == [
        ("raised", "cork-cube.canopy.silent", 1000 + 5 * MINUTE_MS),
        ("returned", "cork-cube.canopy.silent", 11 * MINUTE_MS),
    ]
    assert saved.memories == {}


def test_a_shelved_alarm_is_one_occurrence_until_its_shelf_ends(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Its condition may come and go; when the shelf ends what still holds calls anew."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)
    (alarm,) = desk.alarms
    desk.commit(desk.shelve(alarm.id, at(120), "ada", at(21)))
    here.feed(desk, saved, dry(reading, (30, 70), (35, 70), (40, 45), (60, 49)))
    assert [(a.id, a.state, a.extreme) for a in desk.alarms] == [(alarm.id, State.SHELVED, 45.0)]

    told = []
    for minute in (119, 120, 121):
        changes = desk.tick(at(minute))
        desk.commit(changes)
        told += [(c.event.value, c.at_ms) for c in changes.events if c.alarm.point == POINT]
    assert told == [("unshelved", at(120))]
    assert [a.state for a in desk.alarms if a.point == POINT] == [State.UNACKNOWLEDGED]


def test_a_shelf_that_ends_after_the_trouble_closes_the_alarm(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """A condition that is gone when the shelf ends calls nobody."""
    saved = store()
    here = world(probes=("canopy",))
    desk = raised_low(here, saved, reading)
    desk.commit(desk.shelve(desk.alarms[0].id, at(120), "ada", at(21)))
    here.feed(desk, saved, dry(reading, (30, 70), (35, 70)))

    changes = desk.unshelve(desk.alarms[0].id, "eve", at(40))
    assert [(c.event.value, c.by, c.alarm.state) for c in changes.events] == [
        ("unshelved", "eve", State.NORMAL)
    ]
    desk.commit(changes)
    assert desk.alarms == []


def test_a_shelf_that_ends_behind_a_graver_alarm_stays_quiet(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Off the shelf into the eclipse: the keeper is called by the graver alarm alone."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)
    (low,) = desk.alarms
    desk.commit(desk.shelve(low.id, at(120), "ada", at(21)))
    here.feed(desk, saved, dry(reading, (30, 30), (33, 30)))
    assert states_of(desk) == {"low": "shelved", "critical-low": "unacknowledged"}

    (change,) = desk.unshelve(low.id, "ada", at(40)).events
    assert (change.event.value, change.by) == ("suppressed", "ada")
    assert (change.alarm.state, change.alarm.shelved_until_ms) == (State.SUPPRESSED, None)


def test_acts_that_the_state_forbids_are_refused(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """The refusal says how the alarm stands."""
    desk = raised_low(world(), store(), reading)
    (alarm,) = desk.alarms

    with pytest.raises(Conflict, match="is unacknowledged: it cannot be unshelved"):
        desk.unshelve(alarm.id, "ada", at(22))
    with pytest.raises(NotFound, match="no open alarm has the id 'x'"):
        desk.shelve("x", at(60), "ada", at(22))


# --- saving, dropping, starting again ----------------------------------------------------------


def test_a_step_that_is_dropped_never_happened(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """If saving fails, the same readings again give the same changes."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)
    batch = here.readings(dry(reading, (21, 30), (24, 30), (50, 70), (55, 70)))

    dropped = desk.step(batch, now_ms=0)
    again = desk.step(batch, now_ms=0)
    assert dropped.events == again.events
    assert dropped.points == again.points
    assert dropped.alarms == again.alarms
    assert len(again.events) == 4

    desk.commit(again)
    assert not desk.step(batch, now_ms=0)


def test_changes_must_follow_on_the_last_commit(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Changes that were worked out before another commit are refused, whatever they hold."""
    desk = raised_low(world(), store(), reading)
    early = desk.tick(1)
    desk.commit(desk.acknowledge(desk.alarms[0].id, "ada", 1))

    with pytest.raises(ValueError, match="do not follow on what was committed last"):
        desk.commit(early)


RUNS = st.lists(
    st.tuples(
        st.sampled_from([30.0, 33.0, 36.0, 50.0, 61.0, 65.0, 71.0, 75.0, 99.0]),
        st.integers(1, 9),
        st.sampled_from([1, 1, 2, 4]),
    ),
    max_size=9,
)
"""Stretches of one value: how high, how many readings, how many minutes apart."""


@st.composite
def streams(draw: st.DrawFn) -> list[tuple[int, float, Quantity, str, Reason]]:
    """Humidity and temperature of the canopy around lights off, by time, with ties and faults."""
    stream = []
    for quantity, scale in ((Quantity.HUMIDITY, 1.0), (Quantity.TEMPERATURE, 1 / 3)):
        minute = 19 * 60 + 40
        for value, count, pause in draw(RUNS):
            for _ in range(count):
                minute += pause
                reason = draw(st.sampled_from([Reason.OK] * 15 + [Reason.STEP]))
                stream.append((minute * MINUTE_MS, value * scale, quantity, "canopy", reason))
    return sorted(stream, key=lambda row: row[0])


QUICK = AlarmSettings(on_delay_s=300, critical_on_delay_s=60, off_delay_s=120)
CUTS = st.lists(st.integers(0, 150), max_size=12)


@given(stream=streams(), cuts=CUTS)
@settings(deadline=None)
def test_batches_may_be_cut_anywhere(
    world: "type[World]",
    reading: "type[Reading]",
    store: "type[Saved]",
    stream: Sequence[tuple[int, float, Quantity, str, Reason]],
    cuts: list[int],
) -> None:
    """An in-order stream gives the same events, alarms and memory however it is cut."""
    here = world(QUICK)
    readings = [reading(*row) for row in stream]
    runs = []
    for some in ([], cuts, range(len(readings))):
        saved = store()
        here.feed(here.desk(saved), saved, readings, [c for c in some if c < len(readings)])
        runs.append((saved.events, saved.alarms, saved.memories))

    assert runs[0] == runs[1] == runs[2]


@given(stream=streams(), cuts=CUTS)
@settings(deadline=None, max_examples=25)
def test_a_restart_anywhere_changes_nothing(
    world: "type[World]",
    reading: "type[Reading]",
    store: "type[Saved]",
    stream: Sequence[tuple[int, float, Quantity, str, Reason]],
    cuts: list[int],
) -> None:
    """A desk built anew from what was saved, at any point, tells what the old one would have."""
    here = world(QUICK)
    readings = [reading(*row) for row in stream]
    straight = store()
    here.feed(here.desk(straight), straight, readings, [c for c in cuts if c < len(readings)])

    for restart in range(len(readings) + 1):
        saved = store()
        here.feed(here.desk(saved), saved, readings[:restart])
        here.feed(here.desk(saved), saved, readings[restart:])

        assert saved == straight


@given(stream=streams())
@settings(deadline=None)
def test_a_graver_alarm_is_never_beside_a_lesser_that_calls(
    world: "type[World]",
    reading: "type[Reading]",
    store: "type[Saved]",
    stream: Sequence[tuple[int, float, Quantity, str, Reason]],
) -> None:
    """At no time do a standing critical alarm and the range alarm behind it both call."""
    here = world(QUICK)
    saved = store()
    desk = here.desk(saved)
    readings = [reading(*row) for row in stream]
    for start in range(len(readings)):
        here.feed(desk, saved, readings[start : start + 1])
        by_point = {alarm.point: alarm for alarm in desk.alarms}
        for point, alarm in by_point.items():
            behind = point._replace(condition=Condition(point.condition.removeprefix("critical-")))
            if behind == point or not alarm.standing or behind not in by_point:
                continue
            assert by_point[behind].state in (State.SUPPRESSED, State.RETURNED)


# --- other rules -------------------------------------------------------------------------------


def test_other_rules_keep_what_still_exists(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """A changed set-up keeps pending and standing points, last times used and last times heard."""
    saved = store()
    here = world(QUICK)
    desk = here.desk(saved)
    warm = [reading(at(19), 28, Quantity.TEMPERATURE)]
    here.feed(desk, saved, dry(reading, (0, 50), (5, 50)) + warm)

    desk, changes = desk.rebuilt(world().rules, now_ms=at(20))
    assert not changes
    assert states_of(desk) == {"low": "unacknowledged"}
    assert {change.alarm.since_ms for change in desk.tick(at(21)).events} == {0}
    assert not desk.step(here.readings(dry(reading, (5, 5), (4, 5))), now_ms=0)
    raised = desk.step(here.readings([reading(at(39), 28, Quantity.TEMPERATURE)]), now_ms=0)
    assert [(c.event.value, c.alarm.since_ms) for c in raised.events] == [("raised", at(19))]


def test_alarms_of_points_no_longer_watched_are_withdrawn(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """What the set-up has forgotten is closed and said to be, and its memory goes."""
    saved = store()
    here = world()
    desk = raised_low(here, saved, reading)
    here.feed(desk, saved, [reading(at(22), 28, Quantity.TEMPERATURE)])

    desk, changes = desk.rebuilt(world(canopy=None).rules, now_ms=at(30))
    assert desk.alarms == []
    saved.save(changes)
    assert saved.told()[-1] == ("withdrawn", str(POINT), at(30))
    assert (saved.memories, saved.alarms) == ({}, {})
    (gone,) = changes.alarms
    assert (gone.over, gone.returned_at_ms, gone.withdrawn_at_ms) == (True, None, at(30))


def test_a_graver_limit_that_is_taken_away_unveils_the_lesser(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Without critical limits the range alarm stands for itself again."""
    saved = store()
    here = world()
    desk = here.desk(saved)
    here.feed(desk, saved, dry(reading, (0, 30), (20, 30)))
    mild = world(canopy=ZoneRange(day=Spans.model_validate({"humidity": [60, 80]})))

    desk, changes = desk.rebuilt(mild.rules, now_ms=at(21))
    assert [c.event.value for c in changes.events] == ["withdrawn", "unsuppressed"]
    assert states_of(desk) == {"low": "unacknowledged"}

    desk, changes = here.desk(saved).rebuilt(world(canopy=None).rules, now_ms=at(21))
    assert [c.event.value for c in changes.events] == ["withdrawn", "withdrawn"]


def test_memory_and_alarms_that_disagree_are_brought_together(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """Whatever was lost, an open alarm is followed to its end and a lost one is raised again."""
    here = world()
    lost_memory = store()
    raised_low(here, lost_memory, reading)
    lost_memory.memories.clear()
    desk = here.desk(lost_memory)
    assert lost_memory.memories.keys() == {str(POINT)}
    here.feed(desk, lost_memory, dry(reading, (30, 70), (35, 70)))
    assert states_of(desk) == {"low": "returned-unacknowledged"}

    lost_alarm = store()
    raised_low(here, lost_alarm, reading)
    lost_alarm.alarms.clear()
    desk = here.desk(lost_alarm)
    assert lost_alarm.memories == {}
    here.feed(desk, lost_alarm, dry(reading, (30, 50), (50, 50)))
    assert states_of(desk) == {"low": "unacknowledged"}


def test_memory_of_a_silent_probe_survives_a_restart(
    world: "type[World]", reading: "type[Reading]", store: "type[Saved]"
) -> None:
    """A probe that was silent before a restart is not told twice, and can be heard again."""
    here = world(probes=("canopy",))
    saved = store()
    desk = here.desk(saved)
    saved.save(desk.tick(5 * MINUTE_MS))

    desk = here.desk(saved, now_ms=6 * MINUTE_MS)
    assert not desk.tick(60 * MINUTE_MS)
    changes = desk.step(here.readings([reading(at(0), 70)]), now_ms=61 * MINUTE_MS)
    assert [c.event.value for c in changes.events] == ["returned"]
    assert changes.points == [(PointKey("cork-cube", "canopy", None, Condition.SILENT), None)]


def test_a_daemon_that_was_away_does_not_take_it_for_silence(world: "type[World]") -> None:
    """After a restart every probe has its full time to be heard."""
    desk = world().desk(now_ms=10 * HOUR_MS)

    assert not desk.tick(10 * HOUR_MS + 5 * MINUTE_MS - 1)
    assert len(desk.tick(10 * HOUR_MS + 5 * MINUTE_MS).events) == 2
