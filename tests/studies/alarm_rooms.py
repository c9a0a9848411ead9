"""Rooms in which one thing goes wrong one night, for the study of alarms: the truth beside it.

Each is drawn at random (``monitor.simulation.random_rooms``), runs for eight calm days, and then on
with the fault, beside a twin without it under the same weather and luck. Limits lie 3 to 5 %RH
below what the watched probe read on calm days, by day and by night.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from monitor.analysis.causes import Evidence, History
from monitor.setup.models import Enclosure, Setup
from monitor.simulation import (
    Fault,
    FaultKind,
    ProbeModel,
    Record,
    Scenario,
    Simulator,
    first_below,
    wall_clock,
)
from monitor.simulation.models import SUBSTRATE, EnclosureModel
from monitor.simulation.random_rooms import random_probes, random_room, random_tank
from monitor.simulation.random_scenarios import CLOCKS
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS

ROOM = "room"
FIRST_DAY = dt.date(2026, 1, 1)
HISTORY_DAYS = 8
AFTER_MS = 24 * HOUR_MS
MARGIN_RH = (3.0, 5.0)
DEADBAND_RH, HIGHEST_RH = 2.0, 100.0
CRASH_RH = 1.0
"""So far below its limit it is a crash, beyond the noise of any probe."""
HOLD_S = 1200.0
"""So long, the on-delay, the true humidity must stay below a limit for a true crossing."""


class Story(StrEnum):
    """What goes wrong; the value is what the table says."""

    MISTER = "mister fails at 01:00"
    LID = "lid left open at 19:00"
    MAT = "heat mat stuck on at 22:00"
    HEATING = "room heating dries three enclosures, 20:00"
    DRIFT = "one probe drifts from 12:00"
    UNPLUGGED = "one probe unplugged at 03:00"
    BROKER = "broker down from 02:00 to 03:00"


@dataclass(frozen=True, slots=True)
class Plot:
    """How a story is played: when it begins, for how many hours, and what breaks how badly."""

    kind: FaultKind
    at: dt.time
    hours: float
    cause: str
    strength: tuple[float, float] | None = None
    tanks: int = 1
    long: bool | None = None


PLOTS = {
    Story.MISTER: Plot(FaultKind.MISTER_FAILURE, dt.time(1), 12, "drying"),
    Story.LID: Plot(FaultKind.LID_OPEN, dt.time(19), 12, "drying", (8.0, 25.0)),
    Story.MAT: Plot(FaultKind.HEAT_MAT_STUCK_ON, dt.time(22), 12, "warming", long=True),
    Story.HEATING: Plot(FaultKind.ROOM_HEATING_DRY, dt.time(20), 12, "room", (4.0, 7.0), tanks=3),
    Story.DRIFT: Plot(FaultKind.PROBE_DRIFT, dt.time(12), 12, "probe", (-4.0, -0.8)),
    Story.UNPLUGGED: Plot(FaultKind.PROBE_UNPLUGGED, dt.time(3), 4, "silent"),
    Story.BROKER: Plot(FaultKind.BROKER_DOWN, dt.time(2), 1, "broker"),
}


@dataclass(frozen=True, slots=True)
class Due:
    """When the watched probe of a tank went below its limit and stayed there.

    ``truly_ms`` is when the true humidity did, for the first time after the fault.
    """

    tank: str
    crossed_ms: int
    truly_ms: int | None


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """A played story."""

    story: Story
    scenario: Scenario
    fault_ms: int
    over_ms: int
    record: Record
    calm: Record
    setup: Setup

    @property
    def end_ms(self) -> int:
        """Where the record ends."""
        return self.fault_ms + AFTER_MS

    def due(self, on_delay_s: float, off_delay_s: float, *, calm: bool = False) -> list[Due]:
        """The alarms that should be raised after the fault, worked out from the readings alone."""
        record = self.calm if calm else self.record
        found = []
        for tank in self.setup.enclosure:
            told = record.readings[tank.id, tank.probe[0].id]
            columns = _after(
                self.fault_ms, told.at_ms, told.humidity, self.limits(tank, told.at_ms)
            )
            truly_ms = self._truly_below(record, tank, HOLD_S)
            crossings = list(_episodes(*columns, on_delay_s, off_delay_s))
            found += [
                Due(tank.id, crossed_ms, None if number else truly_ms)
                for number, crossed_ms in enumerate(crossings)
            ]
        return found

    def crashes(self, hold_s: float) -> list[tuple[str, int]]:
        """Tanks whose true humidity went well below the limit for so long, and when."""
        crossings = (
            (tank.id, self._truly_below(self.record, tank, hold_s, CRASH_RH))
            for tank in self.setup.enclosure
        )
        return [(tank, at_ms) for tank, at_ms in crossings if at_ms is not None]

    def limits(self, tank: Enclosure, at_ms: NDArray[np.int64]) -> NDArray[np.float64]:
        """The lower limit of a tank's watched probe at each time."""
        lit = _lit(self._model(tank.id), self.scenario, at_ms)
        spans = tank.range[tank.probe[0].zone]
        assert spans.day.humidity is not None
        assert spans.night.humidity is not None
        return np.where(lit, spans.day.humidity.low, spans.night.humidity.low)

    def evidence(self, tank: str, since_ms: int, now_ms: int, limit: float) -> Evidence:
        """What the program would have to explain an alarm of a tank's watched probe."""
        target, *others = (probe for probe in self.scenario.probes if probe.owner == tank)
        room = next(probe for probe in self.scenario.probes if probe.owner == ROOM)
        misted = (e.at_ms for e in self.record.events if (e.kind, e.owner) == ("misted", tank))
        return Evidence(
            target=self._history(target, now_ms),
            since_ms=since_ms,
            now_ms=now_ms,
            limit=limit,
            others=tuple(self._history(p, now_ms) for p in others if p.zone != SUBSTRATE),
            room=self._history(room, now_ms),
            misted_ms=tuple(at_ms for at_ms in misted if at_ms <= now_ms),
            clock=self.scenario.clock,
        )

    def _truly_below(
        self, record: Record, tank: Enclosure, hold_s: float, depth: float = 0.0
    ) -> int | None:
        """When the true humidity fell below the limit after the fault and stayed there.

        Limits were set by the probe, so its constant error is added to the truth; its lag and noise
        are not.
        """
        watched = tank.probe[0]
        probe = next(p for p in self.scenario.probes if (p.owner, p.id) == (tank.id, watched.id))
        truth = record.enclosures[tank.id].zones[watched.zone].humidity + probe.humidity_offset
        limits = self.limits(tank, record.at_ms) - depth
        return first_below(*_after(self.fault_ms, record.at_ms, truth, limits), hold_s)

    def _model(self, tank: str) -> EnclosureModel:
        return next(model for model in self.scenario.enclosures if model.id == tank)

    def _history(self, probe: ProbeModel, now_ms: int) -> History:
        told = self.record.readings[probe.owner, probe.id]
        whole = History(told.at_ms, told.temperature, told.humidity, probe.period_s)
        return whole.between(now_ms - HISTORY_DAYS * DAY_MS, now_ms)


def play(story: Story, rng: np.random.Generator) -> World:
    """Draw a room and play a story in it."""
    plot = PLOTS[story]
    tanks = tuple(
        random_tank(rng, f"tank-{number}", long=plot.long, misted=story is Story.MISTER)
        for number in range(1, plot.tanks + 1)
    )
    scenario = Scenario(
        enclosures=tanks,
        probes=tuple(_probes(rng, tanks)),
        room=random_room(rng),
        room_id=ROOM,
        timezone=CLOCKS[int(rng.integers(len(CLOCKS)))],
    )
    day = FIRST_DAY + dt.timedelta(days=HISTORY_DAYS + int(rng.integers(350)))
    night = dt.datetime.combine(day, plot.at, scenario.clock)
    fault_ms = round(night.timestamp()) // 60 * MINUTE_MS
    over_ms = fault_ms + round(plot.hours * HOUR_MS)
    calm_world = Simulator(
        scenario, fault_ms - HISTORY_DAYS * DAY_MS, 60.0, seed=int(rng.integers(2**31))
    )
    before = calm_world.advance(fault_ms)
    faults = tuple(_faults(plot, tanks, scenario, fault_ms, over_ms, rng))
    world = calm_world.fork(replace(scenario, faults=faults))
    record = before.then(world.advance(fault_ms + AFTER_MS))
    calm = before.then(calm_world.advance(fault_ms + AFTER_MS))
    setup = Setup.model_validate(
        {
            "room": [{"id": ROOM, "name": "Room", "probe": [_probe(scenario.probes[-1])]}],
            "enclosure": [_enclosure(tank, scenario, before, rng) for tank in tanks],
        }
    )
    return World(story, scenario, fault_ms, over_ms, record, calm, setup)


def _probes(rng: np.random.Generator, tanks: tuple[EnclosureModel, ...]) -> Iterator[ProbeModel]:
    """Two in each tank and one in the room; no report is lost, so that delays can be told."""
    for tank in tanks:
        *inside, room = random_probes(rng, tank, 2, ROOM)
        yield from (replace(probe, dropout=0.0) for probe in inside)
    yield replace(room, dropout=0.0)


def _faults(
    plot: Plot,
    tanks: tuple[EnclosureModel, ...],
    scenario: Scenario,
    start_ms: int,
    end_ms: int,
    rng: np.random.Generator,
) -> Iterator[Fault]:
    strength = None if plot.strength is None else float(rng.uniform(*plot.strength))
    probe = scenario.probes[0].id if plot.cause in ("probe", "silent") else None
    yield Fault(plot.kind, start_ms, end_ms, tanks[0].id, probe, strength)


def _enclosure(
    tank: EnclosureModel, scenario: Scenario, calm: Record, rng: np.random.Generator
) -> Mapping[str, object]:
    probes = [probe for probe in scenario.probes if probe.owner == tank.id]
    watched = calm.readings[tank.id, probes[0].id]
    settled = watched.at_ms > int(calm.at_ms[0]) + DAY_MS
    lit = _lit(tank, scenario, watched.at_ms)
    margin = float(rng.uniform(*MARGIN_RH))
    day, night = (
        max(1.0, round(float(watched.humidity[settled & when].min()) - margin, 1))
        for when in (lit, ~lit)
    )
    return {
        "id": tank.id,
        "name": tank.id,
        "room": ROOM,
        "timezone": scenario.timezone,
        "lights_on": tank.lights_on,
        "lights_off": tank.lights_off,
        "probe": [_probe(probe) for probe in probes],
        "range": {
            probes[0].zone: {
                "day": {"humidity": [day, HIGHEST_RH]},
                "night": {"humidity": [night, HIGHEST_RH]},
            }
        },
    }


def _probe(probe: ProbeModel) -> Mapping[str, object]:
    return {"id": probe.id, "zone": probe.zone, "period_s": probe.period_s}


def _lit(tank: EnclosureModel, scenario: Scenario, at_ms: NDArray[np.int64]) -> NDArray[np.bool_]:
    seconds = wall_clock.seconds_of_day(at_ms, scenario.clock)
    return wall_clock.between(seconds, tank.lights_on, tank.lights_off)


def _after(
    start_ms: int,
    at_ms: NDArray[np.int64],
    values: NDArray[np.float64],
    limits: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
    later = at_ms > start_ms
    return at_ms[later], values[later], limits[later]


def _episodes(
    at_ms: NDArray[np.int64],
    humidity: NDArray[np.float64],
    limits: NDArray[np.float64],
    on_delay_s: float,
    off_delay_s: float,
) -> Iterator[int]:
    """When each stretch below the limit began that lasts; the next one needs a recovery between.

    Written over runs of readings, not reading by reading as the program does it.
    """
    while True:
        crossed_ms = first_below(at_ms, humidity, limits, on_delay_s)
        if crossed_ms is None:
            return
        yield crossed_ms
        later = at_ms >= crossed_ms + 1000 * on_delay_s
        at_ms, humidity, limits = at_ms[later], humidity[later], limits[later]
        # At the clear level counts as clear; first_below is strict.
        deadband = np.minimum(DEADBAND_RH, (HIGHEST_RH - limits) / 2)
        above = np.nextafter(limits + deadband, 0.0)
        clear_ms = first_below(at_ms, -humidity, -above, off_delay_s)
        if clear_ms is None:
            return
        later = at_ms > clear_ms + 1000 * off_delay_s
        at_ms, humidity, limits = at_ms[later], humidity[later], limits[later]
