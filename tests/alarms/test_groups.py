"""First-out: of many alarms with one cause one calls, and none is hidden for good."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from monitor.alarms.desk import AlarmDesk
from monitor.alarms.groups import ALONE_AFTER_MS, Flood, regroup
from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.quantities import Quantity
from monitor.setup.alarming import FLOOD_MS, AlarmSettings
from monitor.setup.models import Zone
from monitor.times import HOUR_MS, MINUTE_MS
from tests.alarms.conftest import Reading

if TYPE_CHECKING:
    from tests.alarms.conftest import Saved, World

NOON = 12 * HOUR_MS
AT_ONCE = AlarmSettings(on_delay_s=0, critical_on_delay_s=0, off_delay_s=0, flood_alarms=4)
BOXES = tuple(f"box-{n:02}" for n in range(30))


def at(minute: float) -> int:
    """A minute after noon."""
    return NOON + round(minute * MINUTE_MS)


def humidity(minute: float, box: int, value: float) -> Reading:
    """A reading of one box; below 60 is low, below 35 critical."""
    return Reading(at(minute), value, place=BOXES[box])


def called(alarms: Iterable[Alarm]) -> list[int]:
    """Which boxes call for themselves."""
    return sorted(
        BOXES.index(alarm.point.place)
        for alarm in alarms
        if alarm.state is State.UNACKNOWLEDGED and alarm.group is None
    )


def led(alarms: Iterable[Alarm]) -> dict[str, list[int]]:
    """Which boxes are grouped, by the place of the alarm that calls for them."""
    found: dict[str, list[int]] = {}
    for alarm in alarms:
        if alarm.group is not None:
            box = BOXES.index(alarm.point.place)
            found.setdefault(alarm.group.partition(".")[0], []).append(box)
    return {place: sorted(boxes) for place, boxes in found.items()}


def dryness(desk: AlarmDesk) -> list[Alarm]:
    """The open alarms of dryness; the probes fall silent too, since time passes without them."""
    return [alarm for alarm in desk.alarms if alarm.point.condition is Condition.LOW]


def dry(
    world: "World", desk: AlarmDesk, saved: "Saved", minutes_and_boxes: Sequence[tuple[float, int]]
) -> None:
    """Boxes that dry out one after the other."""
    world.feed(desk, saved, [humidity(minute, box, 50) for minute, box in minutes_and_boxes])


def test_in_a_flood_the_first_calls_for_all_that_are_alike(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Four dry boxes are four calls; the fifth within ten minutes begins a flood."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved)
    dry(here, desk, saved, [(n, n) for n in range(20)])

    assert called(desk.alarms) == [0, 1, 2, 3]
    assert led(desk.alarms) == {"box-00": list(range(4, 20))}


def test_alarms_far_enough_apart_are_no_flood(world: "type[World]", store: "type[Saved]") -> None:
    """Four in any ten minutes are told one by one, however long it goes on."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved)
    dry(here, desk, saved, [(2.5 * n, n) for n in range(30)])

    assert called(desk.alarms) == list(range(30))


def test_a_flood_goes_on_until_fewer_than_half_call(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Two in ten minutes keep it going, one does not; then alarms are told again."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved)
    flood = [(n, n) for n in range(5)]
    dry(here, desk, saved, [*flood, (10, 5), (19, 6), (28, 7), (38, 8), (38, 9)])

    assert called(desk.alarms) == [0, 1, 2, 3, 8, 9]
    assert led(desk.alarms) == {"box-00": [4, 5, 6, 7]}


def test_in_a_flood_what_is_different_calls_for_itself(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """A box too warm among the dry ones is told, once for its kind; a critical one always is."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved)
    dry(here, desk, saved, [(n, n) for n in range(6)])
    warm = [
        Reading(at(6), 28, Quantity.TEMPERATURE, place=BOXES[6]),
        Reading(at(7), 28, Quantity.TEMPERATURE, place=BOXES[7]),
        *[humidity(7, box, 30) for box in (8, 9)],
    ]
    here.feed(desk, saved, warm)

    assert called(desk.alarms) == [0, 1, 2, 3, 6, 8, 9]
    assert led(desk.alarms) == {"box-00": [4, 5], "box-06": [7]}
    criticals = [alarm for alarm in desk.alarms if alarm.priority is Priority.CRITICAL]
    assert [(alarm.group, alarm.state) for alarm in criticals] == [(None, State.UNACKNOWLEDGED)] * 2


def test_probes_of_one_place_that_fall_silent_are_one_call(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Far from any flood: two probes of one box share a cable, those of two boxes do not."""
    saved, here = store(), world(places=BOXES[:2])
    desk = here.desk(saved)
    saved.keep(desk, desk.tick(5 * MINUTE_MS))

    assert [str(a.point) for a in desk.alarms if a.group is None] == [
        "box-00.canopy.silent",
        "box-01.canopy.silent",
    ]
    assert led(desk.alarms) == {"box-00": [0], "box-01": [1]}


def test_a_probe_that_falls_silent_much_later_calls_for_itself(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """After ten minutes it is no longer the same event."""
    saved, here = store(), world(places=BOXES[:1])
    desk = here.desk(saved)
    for minute in range(1, 16):
        if minute < 11:
            floor = Reading(at(minute), 70, probe="floor", place=BOXES[0])
            here.feed(desk, saved, [floor], now_ms=minute * MINUTE_MS)
        saved.keep(desk, desk.tick(minute * MINUTE_MS))

    assert [alarm.group for alarm in desk.alarms] == [None, None]


@pytest.mark.parametrize("act", ["shelve", "return", "acknowledge"])
def test_whom_others_are_grouped_under(
    world: "type[World]", store: "type[Saved]", act: str
) -> None:
    """A keeper must know the first-out alarm, and it must stand: else the next one leads."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved)
    dry(here, desk, saved, [(0, 0), (1, 1)])
    (first, *_) = desk.alarms
    if act == "shelve":
        saved.keep(desk, desk.shelve(first.id, at(60), "ada", at(2)))
    elif act == "return":
        here.feed(desk, saved, [humidity(2, 0, 70)])
    else:
        saved.keep(desk, desk.acknowledge(first.id, "ada", at(2)))
    dry(here, desk, saved, [(3, 2), (3, 3), (3, 4)])

    assert led(desk.alarms) == {"box-00" if act == "acknowledge" else "box-01": [4]}


# --- none is hidden for good -------------------------------------------------------------------


def test_what_still_stands_after_the_first_out_alarm_calls(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """Half an hour after the first is over the oldest of the others calls, and leads the rest."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved, now_ms=at(0))
    dry(here, desk, saved, [(n / 10, n) for n in range(8)])
    here.feed(desk, saved, [humidity(60, 0, 70)], now_ms=at(60))
    saved.keep(desk, desk.tick(at(60)))
    here.feed(desk, saved, [humidity(70, 4, 70)], now_ms=at(70))
    assert "released" not in dict(saved.keep(desk, desk.tick(at(90) - 1)))
    assert led(dryness(desk)) == {"box-00": [4, 5, 6, 7]}

    told = saved.keep(desk, desk.tick(at(90)))
    assert ("released", "box-05.canopy.humidity.low") in told
    assert len([each for each in told if each[0] == "released"]) == 1
    assert called(dryness(desk)) == [1, 2, 3, 5]
    assert led(a for a in dryness(desk) if a.standing) == {"box-05": [6, 7]}


def test_a_first_out_alarm_that_is_kept_quiet_leads_no_longer(
    world: "type[World]", store: "type[Saved]"
) -> None:
    """If its probe goes out of service the group is on its own; if it returns in time, not."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved, now_ms=at(0))
    dry(here, desk, saved, [(n / 10, n) for n in range(6)])
    saved.keep(desk, desk.remove_from_service(BOXES[0], "canopy", "ada", at(1)))
    saved.keep(desk, desk.tick(at(2)))
    assert {alarm.alone_from_ms for alarm in dryness(desk) if alarm.group} == {at(32)}

    saved.keep(desk, desk.place_in_service(BOXES[0], "canopy", "ada", at(3)))
    saved.keep(desk, desk.tick(at(4)))
    assert {alarm.alone_from_ms for alarm in dryness(desk) if alarm.group} == {None}


def test_what_a_keeper_deals_with_is_on_its_own(world: "type[World]", store: "type[Saved]") -> None:
    """A grouped alarm that was shelved calls for itself when the shelf ends."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved, now_ms=at(0))
    dry(here, desk, saved, [(n / 10, n) for n in range(6)])
    last = desk.alarms[-1]
    assert last.group is not None
    saved.keep(desk, desk.shelve(last.id, at(60), "ada", at(1)))
    saved.keep(desk, desk.unshelve(last.id, "ada", at(2)))

    assert called(desk.alarms) == [0, 1, 2, 3, 5]


def test_what_a_keeper_knows_joins_no_group(world: "type[World]", store: "type[Saved]") -> None:
    """An acknowledged alarm that a graver one gives back does not call, so none calls for it."""
    saved, here = store(), world(AT_ONCE, places=BOXES)
    desk = here.desk(saved)
    dry(here, desk, saved, [(0, 0)])
    saved.keep(desk, desk.acknowledge(desk.alarms[0].id, "ada", at(0)))
    here.feed(desk, saved, [humidity(1, 0, 30)])
    dry(here, desk, saved, [(2, n) for n in range(1, 6)])
    here.feed(desk, saved, [humidity(3, 0, 50)])

    (known,) = (a for a in dryness(desk) if a.point.place == BOXES[0])
    assert (known.state, known.group) == (State.ACKNOWLEDGED, None)
    assert led(desk.alarms) == {"box-01": [3, 4, 5]}


def low(box: int, called_ms: int, group: str | None = None) -> Alarm:
    """A low alarm that called."""
    point = PointKey(BOXES[box], "canopy", Quantity.HUMIDITY, Condition.LOW)
    return Alarm(
        f"{point}.{called_ms}", point, Zone.CANOPY, Priority.WARNING, State.UNACKNOWLEDGED,
        called_ms, called_ms, 50, 60, 50, called_at_ms=called_ms, group=group,
    )  # fmt: skip


def test_an_alarm_that_calls_again_is_counted_once() -> None:
    """One alarm that is quiet and loud by turns makes no flood by itself."""
    one = low(0, 0)
    flood = Flood([one], 1, flood_alarms=2, now={one.point: one}.get)
    for minute in range(5):
        assert flood.join(one, minute * MINUTE_MS) is None

    assert flood.join(low(1, 0), 5 * MINUTE_MS) is None
    assert flood.join(low(2, 0), 5 * MINUTE_MS) == one.id


def test_ten_minutes_are_the_span_of_a_flood() -> None:
    """A call exactly ten minutes old counts no more."""
    alarms = [low(0, 0), low(1, 1)]
    now = {alarm.point: alarm for alarm in alarms}.get
    assert Flood(alarms, FLOOD_MS - 1, 2, now).join(low(2, 0), FLOOD_MS - 1) is not None
    assert Flood(alarms, FLOOD_MS, 2, now).join(low(2, 0), FLOOD_MS) is None


def test_groups_are_looked_after_by_the_state_of_their_first() -> None:
    """Led, waiting, due: the three things that can be the matter with a group."""
    first, second, third = low(0, 0), low(1, 1), low(2, 2)
    second, third = (replace(alarm, group=first.id) for alarm in (second, third))
    assert regroup([first, second, third], 10) == ([], [])

    waiting = [replace(a, alone_from_ms=10 + ALONE_AFTER_MS) for a in (second, third)]
    assert regroup([second, third], 10) == ([], waiting)
    assert regroup(waiting, 10 + ALONE_AFTER_MS - 1) == ([], [])
    assert regroup([first, *waiting], 10 + ALONE_AFTER_MS) == ([], [second, third])
    assert regroup(waiting, 10 + ALONE_AFTER_MS) == (
        [waiting[0]],
        [replace(third, group=second.id)],
    )
    known = [replace(alarm, state=State.ACKNOWLEDGED) for alarm in waiting]
    assert regroup(known, 10 + ALONE_AFTER_MS) == ([], [])
