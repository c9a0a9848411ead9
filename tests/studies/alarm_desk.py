"""A played story fed to the alarm desk as it would have come in."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from monitor.alarms.desk import AlarmDesk, Changes
from monitor.alarms.model import Alarm, State
from monitor.alarms.rules import compile_rules
from monitor.alarms.states import Event
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.store.readings import Readings, SeriesKey
from monitor.times import HOUR_MS, SECOND_MS
from tests.studies.alarm_rooms import Story, World

LEAD_MS = 12 * HOUR_MS
TURN_MS = 30 * SECOND_MS
"""So often the desk is given what has arrived; a daemon does it many times a second."""


@dataclass(frozen=True, slots=True)
class Heard:
    """The alarms that were raised after the fault, in order, and how many notifications left."""

    raised: list[Alarm]
    notified: int


def hear(world: World) -> Heard:
    """Feed what the probes reported, from half a day before the fault to the end of the record.

    A notification leaves once for each alarm that comes to call for the keeper. While the broker is
    down nothing arrives; what was sent meanwhile arrives when it is back.
    """
    settings = AlarmSettings()
    ranges = {
        (tank.id, zone): span for tank in world.setup.enclosure for zone, span in tank.range.items()
    }
    keys = [
        SeriesKey(owner, probe, quantity)
        for owner, probe in world.record.readings
        for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
    ]
    now_ms = world.fault_ms - LEAD_MS
    desk, _ = AlarmDesk.load(
        compile_rules(world.setup, ranges, settings),
        memories={},
        alarms=(),
        last_used={},
        series={key: number for number, key in enumerate(keys)},
        now_ms=now_ms,
    )
    raised: dict[str, Alarm] = {}
    called: set[str] = set()

    def note(changes: Changes) -> None:
        desk.commit(changes)
        for event in changes.events:
            if event.event is Event.RAISED:
                raised[event.alarm.id] = event.alarm
            if event.alarm.state is State.UNACKNOWLEDGED:
                called.add(event.alarm.id)

    for turn_ms, readings in _turns(world, keys, now_ms):
        if len(readings):
            note(desk.step(readings, turn_ms))
        away = world.story is Story.BROKER and world.fault_ms <= turn_ms < world.over_ms
        note(desk.tick(turn_ms, broker_connected=not away))
    told = sorted(raised.values(), key=lambda alarm: alarm.raised_at_ms)
    told = [alarm for alarm in told if alarm.raised_at_ms >= world.fault_ms]
    return Heard(told, len(called & {alarm.id for alarm in told}))


def _turns(world: World, keys: list[SeriesKey], start_ms: int) -> Iterator[tuple[int, Readings]]:
    told = [
        (number, world.record.readings[key.place, key.probe], key.quantity)
        for number, key in enumerate(keys)
    ]
    series = np.concatenate([np.full(len(each.at_ms), number) for number, each, _ in told])
    at_ms = np.concatenate([each.at_ms for _, each, _ in told])
    value = np.concatenate([getattr(each, quantity) for _, each, quantity in told])
    arrives_ms = at_ms
    if world.story is Story.BROKER:
        away = (at_ms >= world.fault_ms) & (at_ms < world.over_ms)
        arrives_ms = np.where(away, world.over_ms, at_ms)
    order = np.lexsort((at_ms, arrives_ms))
    series, at_ms, value, arrives_ms = (
        column[order] for column in (series, at_ms, value, arrives_ms)
    )
    good = np.zeros(len(at_ms), np.uint8)
    turns = range(start_ms, world.end_ms, TURN_MS)
    edges = np.searchsorted(arrives_ms, [turns[0] - TURN_MS, *turns], side="right").tolist()
    for turn_ms, first, last in zip(turns, edges, edges[1:], strict=False):
        cut = slice(first, last)
        yield turn_ms, Readings(series[cut], at_ms[cut], value[cut], good[cut])
