"""Which points chatter, and what is remembered of alarms that are over."""

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from monitor.alarms.book import Book, chatters
from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.quantities import Quantity
from monitor.setup.alarming import CHATTERING_MS, AlarmSettings
from monitor.setup.models import Zone
from monitor.times import HOUR_MS, MINUTE_MS
from tests.alarms.conftest import Reading

if TYPE_CHECKING:
    from tests.alarms.conftest import Saved, World

NOON = 12 * HOUR_MS
AT_ONCE = AlarmSettings(on_delay_s=0, off_delay_s=0)
POINT = PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
OVER = Alarm(
    f"{POINT}.0", POINT, Zone.CANOPY, Priority.WARNING, State.NORMAL,
    0, 0, 50, 60, 50, returned_at_ms=1,
)  # fmt: skip


@pytest.mark.parametrize(
    ("raised_ms", "at_ms", "expected"),
    [
        ((), 0, False),
        ((0,), 1, False),
        ((0, 1), 2, True),
        ((0, 1), CHATTERING_MS, True),
        ((0, 1), CHATTERING_MS + 1, False),
        ((0, HOUR_MS, 2 * HOUR_MS), 3 * HOUR_MS, True),
        ((0, 10, 20), 2 * CHATTERING_MS, False),
    ],
)
def test_three_raisings_in_two_hours_chatter(
    raised_ms: tuple[int, ...], at_ms: int, expected: bool
) -> None:
    """The third within the time is marked, and each after it while that goes on."""
    assert chatters(raised_ms, at_ms) is expected


def swing(minute: int, low: bool) -> Reading:
    """Humidity of the canopy, below its limit or not."""
    return Reading(NOON + minute * MINUTE_MS, 50 if low else 75)


def test_a_probe_on_its_limit_chatters(world: "type[World]", store: "type[Saved]") -> None:
    """Marked from the third alarm on, acknowledged between or not, restarted between or not."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    marks = []
    for n in range(4):
        desk = here.desk(saved)
        here.feed(desk, saved, [swing(20 * n, low=True)])
        (alarm,) = (alarm for alarm in desk.alarms if alarm.standing)
        marks.append(alarm.chattering)
        if n % 2:
            saved.keep(desk, desk.acknowledge(alarm.id, "ada", NOON))
        here.feed(desk, saved, [swing(20 * n + 10, low=False)])

    assert marks == [False, False, True, True]


def test_several_raisings_in_one_batch_are_counted(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """However readings arrive, the third alarm is the one that is marked."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    here.feed(desk, saved, [swing(n, low=n % 2 == 0) for n in range(5)])

    (alarm,) = (alarm for alarm in desk.alarms if alarm.standing)
    assert alarm.chattering
    marks = [c.alarm.chattering for c in saved.events if c.event.value == "raised"]
    assert marks == [False, False, True]


def test_other_rules_do_not_forget_what_chatters(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A changed set-up goes on counting."""
    saved, here = store(), world(AT_ONCE)
    desk = here.desk(saved)
    here.feed(desk, saved, [swing(n, low=n % 2 == 0) for n in range(3)])
    desk, _ = desk.rebuilt(here.rules, NOON)
    here.feed(desk, saved, [swing(3, low=False), swing(4, low=True)])

    assert [alarm.chattering for alarm in desk.alarms] == [True]


def test_alarms_that_are_over_are_let_go_after_a_while(world: "type[World]") -> None:
    """Only those raised lately can matter to a flood or to chattering."""
    book = Book(world().rules.policy)
    for hours in range(10):
        over = replace(OVER, id=f"{OVER.point}.{hours}", raised_at_ms=hours * HOUR_MS)
        book.enter([over])

    assert [alarm.raised_at_ms // HOUR_MS for alarm in book.closed.values()] == [7, 8, 9]
    assert book.alarms == {}
