"""The alarm of an enclosure that had settled and no longer is."""

import datetime as dt

import pytest

from monitor.alarms.model import Condition, PointKey, Priority, State, relapse_of
from monitor.alarms.records import load_alarm
from monitor.alarms.wording import wire
from monitor.times import DAY_MS, HOUR_MS
from tests.alarms.conftest import Saved, World

FOUND = "Mould: cover 3 of 5 on 24 November, not falling yet."
POINT = "cork-cube.relapse"


def test_a_relapse_is_raised_once_as_advice_and_ends_with_the_next_verdict() -> None:
    """However often the same verdict is found; no reading and no silence ends it."""
    world, saved = World(), Saved()
    desk = world.desk(saved)

    assert saved.keep(desk, desk.judge_build("cork-cube", FOUND, 1)) == [("raised", POINT)]
    assert saved.keep(desk, desk.judge_build("cork-cube", "Something else.", DAY_MS)) == []
    saved.keep(desk, desk.tick(DAY_MS))
    (alarm,) = (each for each in desk.alarms if each.point.condition is Condition.RELAPSE)
    assert (alarm.priority, alarm.state) == (Priority.ADVICE, State.UNACKNOWLEDGED)
    assert alarm.found == FOUND
    assert saved.keep(desk, desk.judge_build("cork-cube", None, 2 * DAY_MS)) == [
        ("returned", POINT)
    ]
    assert saved.keep(desk, desk.judge_build("cork-cube", None, 3 * DAY_MS)) == []


def test_a_restart_goes_on_with_it() -> None:
    """It still stands, is not raised again, and ends as it would have."""
    world, saved = World(), Saved()
    desk = world.desk(saved)
    saved.keep(desk, desk.judge_build("cork-cube", FOUND, 1))

    desk = world.desk(saved, now_ms=HOUR_MS)

    assert saved.keep(desk, desk.judge_build("cork-cube", FOUND, HOUR_MS)) == []
    assert [str(alarm.point) for alarm in desk.alarms] == [POINT]
    assert saved.keep(desk, desk.judge_build("cork-cube", None, DAY_MS)) == [("returned", POINT)]
    assert POINT not in saved.memories


def test_it_is_acknowledged_and_shelved_as_any_other() -> None:
    """And over at once when it returns after that."""
    world, saved = World(), Saved()
    desk = world.desk(saved)
    saved.keep(desk, desk.judge_build("cork-cube", FOUND, 1))
    (alarm,) = desk.alarms
    saved.keep(desk, desk.acknowledge(alarm.id, "keeper", 2))

    saved.keep(desk, desk.judge_build("cork-cube", None, DAY_MS))

    assert desk.alarms == []
    assert load_alarm(saved.closed[alarm.id]).over


def test_it_ends_with_its_enclosure() -> None:
    """Who is no longer set up cannot relapse; a room never could."""
    world, saved = World(), Saved()
    desk = world.desk(saved)
    saved.keep(desk, desk.judge_build("cork-cube", FOUND, 1))

    desk, changes = desk.rebuilt(World(places=("fern-jar",)).rules, 2)

    assert [(each.event.value, str(each.alarm.point)) for each in changes.events] == [
        ("withdrawn", POINT)
    ]
    assert not desk.judge_build("cork-cube", FOUND, 3)
    assert not desk.judge_build("back-room", FOUND, 3)


def test_it_says_what_undid_the_build() -> None:
    """Since when, and the sentence of the criterion; it has no probe, zone or value."""
    world, saved = World(), Saved()
    desk = world.desk(saved)
    saved.keep(desk, desk.judge_build("cork-cube", FOUND, 6 * HOUR_MS))
    (standing,) = desk.alarms
    saved.keep(desk, desk.judge_build("cork-cube", None, DAY_MS))
    (over,) = desk.alarms

    told = wire(standing, dt.UTC, 6 * HOUR_MS)
    assert told["says"] == f"No longer settled since 06:00. {FOUND}"
    assert (told["enclosure"], told["probe"], told["zone"], told["quantity"], told["value"]) == (
        "cork-cube", None, None, None, None
    )  # fmt: skip
    assert wire(over, dt.UTC, DAY_MS)["says"] == (
        f"No longer settled from 06:00 on 1 Jan to 00:00. {FOUND}"
    )


def test_the_point_is_read_back_as_it_was_written() -> None:
    """Two parts: the enclosure and the condition."""
    assert str(relapse_of("cork-cube")) == POINT
    assert PointKey.parse(POINT) == relapse_of("cork-cube")
    with pytest.raises(ValueError, match=r"PLACE\.relapse"):
        PointKey.parse(".relapse")
