"""The words of an alarm."""

import pytest

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.quantities import Quantity
from monitor.setup.models import Zone

POINTS = [
    (PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.CRITICAL_LOW),
     "cork-cube.canopy.humidity.critical-low"),
    (PointKey("back_room", "air-2", None, Condition.SILENT), "back_room.air-2.silent"),
]  # fmt: skip


@pytest.mark.parametrize(("point", "text"), POINTS)
def test_a_point_is_read_back_as_it_was_written(point: PointKey, text: str) -> None:
    """A point has one text, and that text names no other point."""
    assert str(point) == text
    assert PointKey.parse(text) == point


@pytest.mark.parametrize(
    "text", ["", "cork-cube.canopy", "a.b.heat.low", "a.b.humidity.lowish", "a.b.c.d.e"]
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
