"""Simulated builds with a known course, as an assessment gets them."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from monitor.analysis.settling import Build, ProbeRecord, Samples
from monitor.setup.daylight import Daylight
from monitor.setup.journal import ENTRY, Entry
from monitor.simulation import Event, Record, Scenario, simulate
from monitor.simulation.colony import COVER_FROM, ColonyModel, inspections, run_colony
from monitor.simulation.random_rooms import random_probes, random_room, random_tank
from monitor.species.ranges import Span, Spans, Zone, ZoneRange
from monitor.times import DAY_MS, HOUR_MS

STEP_S = 300.0
EVENING_MS = 21 * HOUR_MS
TANK = "tank"
ROOM = "room"
STILL_RH = 1.5


def entries(events: Iterable[Event]) -> list[Entry]:
    """The inspections and mistings of a simulation, as the journal keeps them."""
    return [
        ENTRY.validate_python({"at": event.at_ms, "kind": event.kind, **event.detail})
        for event in events
        if event.kind in ("inspection", "misted")
    ]


def probe_records(scenario: Scenario, record: Record) -> tuple[ProbeRecord, ...]:
    """What each probe told, the room's among them."""
    return tuple(
        ProbeRecord(
            probe.id,
            Zone(probe.zone),
            probe.period_s,
            Samples(told.at_ms, told.temperature),
            Samples(told.at_ms, told.humidity),
        )
        for probe in scenario.probes
        for told in (record.readings[probe.owner, probe.id],)
    )


@dataclass(frozen=True, slots=True)
class SimulatedBuild:
    """A build with its truth; days are counted from the one it was built on.

    ``shows``: whether mould can be seen, by day; ``clean_day``: the first from which it never can
    again; ``still_day``: the first from which the humidity, were there no weather, stays within
    1.5 %RH of what it is in the last ten days.
    """

    build: Build
    start_ms: int
    shows: tuple[bool, ...]
    clean_day: int
    still_day: int

    def at(self, day: int, *, was_settled: bool = False) -> Build:
        """The build as it stood in the evening of a day."""
        at_ms = self.start_ms + day * DAY_MS + EVENING_MS
        return replace(self.build, at_ms=at_ms, was_settled=was_settled)


def random_build(rng: np.random.Generator, days: int, *, room_probe: bool) -> SimulatedBuild:
    """A build of a random enclosure in a random room, with a keeper who looks every 1 to 4 days.

    Its soil is soaked at the beginning, so that many builds dry slowly. Its ranges hold what it
    does in the end.
    """
    clock_start = dt.datetime(2026, 1, 1, tzinfo=dt.UTC) + dt.timedelta(days=int(rng.integers(365)))
    start_ms = round(clock_start.timestamp() * 1000)
    end_ms = start_ms + days * DAY_MS
    tank = replace(random_tank(rng, TANK), start_substrate=1.0)
    room = random_room(rng)
    drawn = random_probes(rng, tank, int(rng.integers(1, 4)), ROOM if room_probe else None)
    probes = tuple(replace(probe, period_s=STEP_S) for probe in drawn)
    scenario = Scenario((tank,), probes, room, room_id=ROOM)
    seed = int(rng.integers(2**31))
    record = simulate(scenario, start_ms, end_ms, STEP_S, seed)
    calm = simulate(_without_weather(scenario), start_ms, end_ms, STEP_S, seed)
    colony = ColonyModel(
        food=rng.uniform(0.4, 1.2),
        mould=rng.uniform(0.002, 0.01),
        crew=rng.uniform(0.01, 0.05),
        growth=rng.uniform(0.8, 1.2),
    )
    looks = inspections(
        TANK,
        colony,
        scenario.clock,
        start_ms,
        end_ms,
        every_days=int(rng.integers(1, 5)),
        seed=seed,
    )
    shows = tuple((run_colony(colony, days).mould >= COVER_FROM[0]).tolist())
    zones = {Zone(probe.zone) for probe in probes if probe.owner == TANK}
    build = Build(
        at_ms=end_ms,
        clock=scenario.clock,
        is_day=Daylight(tank.lights_on, tank.lights_off, scenario.clock).is_day,
        probes=probe_records(scenario, record),
        built_on=clock_start.date(),
        ranges=_ranges(calm, zones),
        journal=entries([*looks, *record.events]),
    )
    return SimulatedBuild(
        build=build,
        start_ms=start_ms,
        shows=shows,
        clean_day=_last(shows) + 1,
        still_day=max(_still_day(calm, zone, days) for zone in zones),
    )


def _without_weather(scenario: Scenario) -> Scenario:
    room = replace(scenario.room, weather_k=0.0, unrest_k=0.0, weather_kpa=0.0, unrest_kpa=0.0)
    return replace(scenario, room=room)


def _still_day(calm: Record, zone: Zone, days: int) -> int:
    daily = calm.enclosures[TANK].zones[zone].humidity.reshape(days, -1).mean(axis=1)
    end = float(daily[-10:].mean())
    return _last((np.abs(daily - end) > STILL_RH).tolist()) + 1


def _last(flags: Iterable[bool]) -> int:
    """The last day on which it was so; -1 if on none."""
    return max((day for day, flag in enumerate(flags) if flag), default=-1)


def _ranges(calm: Record, zones: Iterable[Zone]) -> dict[Zone, ZoneRange]:
    """What each zone does in the end, with room for the weather."""
    ranges = {}
    day = slice(-14 * round(86_400 / STEP_S), None)
    for zone in zones:
        truth = calm.enclosures[TANK].zones[zone]
        temperature, humidity = truth.temperature[day], truth.humidity[day]
        spans = Spans(
            temperature=Span(low=temperature.min() - 3.0, high=temperature.max() + 3.0),
            humidity=Span(
                low=max(0.0, humidity.min() - 10.0), high=min(100.0, humidity.max() + 10.0)
            ),
        )
        ranges[zone] = ZoneRange(day=spans, night=spans)
    return ranges
