"""The words of an alarm."""

from dataclasses import replace

import pytest
from pydantic import ValidationError

from monitor.alarms.model import BROKER, DAEMON, Alarm, Condition, PointKey, Priority, State
from monitor.quantities import Quantity
from monitor.setup.alarming import STALE_MS
from monitor.setup.models import Enclosure, Zone

POINTS = [
    (PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.CRITICAL_LOW),
     "cork-cube.canopy.humidity.critical-low"),
    (PointKey("back_room", "air-2", None, Condition.SILENT), "back_room.air-2.silent"),
    (BROKER, "_daemon.broker"),
]  # fmt: skip


@pytest.mark.parametrize(("point", "text"), POINTS)
def test_a_point_is_read_back_as_it_was_written(point: PointKey, text: str) -> None:
    """A point has one text, and that text names no other point."""
    assert str(point) == text
    assert PointKey.parse(text) == point


@pytest.mark.parametrize(
    "text",
    [
        "",
        "cork-cube.canopy",
        "a.broker",
        "a.low",
        "a.b.heat.low",
        "a.b.humidity.lowish",
        "a.b.c.d.e",
    ],
)
def test_a_text_that_names_no_point_is_refused(text: str) -> None:
    """The refusal repeats the text and says how a point is written."""
    with pytest.raises(ValueError, match=f"'{text}' names no point; write PLACE.PROBE.QUANTITY"):
        PointKey.parse(text)


def test_an_alarm_is_over_only_when_nothing_can_change_it() -> None:
    """Normal but standing is an alarm about to be raised; over is normal and not standing."""
    point = PointKey("cork-cube", "canopy", None, Condition.SILENT)
    about = Alarm("a", point, Zone.CANOPY, Priority.WARNING, State.NORMAL, 0, 0, None, None, None)

    assert about.standing
    assert not about.over


def test_no_place_is_taken_for_the_daemon() -> None:
    """No room or enclosure can have its id."""
    with pytest.raises(ValidationError, match="id"):
        Enclosure(id=DAEMON, name="Box")


def test_an_alarm_is_stale_after_a_day_if_it_still_stands() -> None:
    """A day to the millisecond is not yet more than one; what returned is never stale."""
    point = PointKey("cork-cube", "canopy", None, Condition.SILENT)
    alarm = Alarm("a", point, Zone.CANOPY, Priority.WARNING, State.SHELVED, 0, 7, None, None, None)

    assert not alarm.stale(7 + STALE_MS)
    assert alarm.stale(8 + STALE_MS)
    assert not replace(alarm, returned_at_ms=9).stale(8 + STALE_MS)


@pytest.mark.parametrize("state", State)
def test_a_keeper_hears_of_an_alarm_that_leads(state: State) -> None:
    """Others are grouped under one that calls, is known or shelved; not under a quiet one."""
    point = PointKey("cork-cube", "canopy", None, Condition.SILENT)
    alarm = Alarm("a", point, Zone.CANOPY, Priority.WARNING, state, 0, 0, None, None, None)

    heard_of = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.SHELVED)
    assert alarm.leads is (state in heard_of)
    assert not replace(alarm, returned_at_ms=1).leads
