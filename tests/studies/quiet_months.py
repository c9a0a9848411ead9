"""Months in which nothing goes wrong: random rooms with normal misting, lights and opened lids.

Ranges lie outside what the enclosure itself did in the time before, by 3 to 5 %RH and 1 to 2 K, by
day and by night, for every probe in its air: a keeper who knows the enclosure for so long.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from monitor.documents.toml import parse, read_toml
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Setup
from monitor.simulation import Readings, Record, Scenario, simulate, wall_clock
from monitor.simulation.demo_room import SEED, back_room
from monitor.simulation.models import SUBSTRATE
from monitor.simulation.random_rooms import random_probes, random_room, random_tank
from monitor.simulation.random_scenarios import CLOCKS
from monitor.store.readings import SeriesKey, Track
from monitor.times import DAY_MS, MINUTE_MS

TANK = "tank"
FIRST_DAY = dt.date(2026, 1, 1)
SETTLE_DAYS, DAYS = 30, 30
KNOWN_DAYS = (7, 28)
KEPT = 0.9
"""A substrate that keeps this share of its water does not dry out."""
MARGINS = {Quantity.HUMIDITY: (3.0, 5.0), Quantity.TEMPERATURE: (1.0, 2.0)}
BOUNDS = {Quantity.HUMIDITY: (0.0, 100.0), Quantity.TEMPERATURE: (-40.0, 85.0)}


@dataclass(frozen=True, slots=True, eq=False)
class Month:
    """One enclosure with its ranges, and what its probes reported from ``start_ms`` on."""

    enclosure: Enclosure
    tracks: Mapping[SeriesKey, Track]
    start_ms: int
    end_ms: int
    dries: bool = False
    """Whether its misting does not make up for what it loses, so that its substrate dries out."""

    @property
    def weeks(self) -> float:
        """How long it is."""
        return (self.end_ms - self.start_ms) / (7 * DAY_MS)


def random_months(rng: np.random.Generator) -> list[Month]:
    """A month of a random enclosure, with ranges after each of the ``KNOWN_DAYS``."""
    tank = random_tank(rng, TANK, misted=True)
    scenario = Scenario(
        enclosures=(tank,),
        probes=random_probes(rng, tank, 2, None),
        room=random_room(rng),
        timezone=CLOCKS[int(rng.integers(len(CLOCKS)))],
    )
    day = FIRST_DAY + dt.timedelta(days=int(rng.integers(365)))
    midnight = dt.datetime.combine(day, dt.time(), scenario.clock)
    begin_ms = round(midnight.timestamp()) // 60 * MINUTE_MS
    start_ms = begin_ms + (SETTLE_DAYS + max(KNOWN_DAYS)) * DAY_MS
    end_ms = start_ms + DAYS * DAY_MS
    record = simulate(scenario, begin_ms, end_ms, seed=int(rng.integers(2**31)))
    seed = int(rng.integers(2**31))
    return [
        Month(
            _enclosure(scenario, record, start_ms, days, np.random.default_rng(seed)),
            tracks_of(record, TANK),
            start_ms,
            end_ms,
            _dries(record),
        )
        for days in KNOWN_DAYS
    ]


def _dries(record: Record) -> bool:
    """By the truth: its water in the last week against that four weeks and a month before."""
    water = record.enclosures[TANK].water.substrate_g
    week = 7 * DAY_MS // round(float(np.diff(record.at_ms[:2])[0]))
    known = len(water) - (max(KNOWN_DAYS) + DAYS) * DAY_MS // (7 * DAY_MS // week)
    return bool(water[-week:].mean() < KEPT * water[known : known + week].mean())


def demo_months() -> list[Month]:
    """The back room of the demo with its own set-up, up to the night in which its mister fails.

    New builds are left out: their climate is not to be judged yet.
    """
    room = back_room(round(dt.datetime(2026, 11, 25, 9, tzinfo=dt.UTC).timestamp()) * 1000, 31.0)
    with resources.as_file(resources.files("monitor.demo") / "back-room.toml") as path:
        furniture = parse(Setup, read_toml(path), path.name)
    record = simulate(room.scenario, room.start_ms, room.failed_ms, seed=SEED)
    return [
        Month(each, tracks_of(record, each.id), room.start_ms + DAY_MS, room.failed_ms)
        for each in furniture.enclosure
        if each.id not in room.built_on
    ]


def tracks_of(record: Record, owner: str) -> dict[SeriesKey, Track]:
    """Simulated readings as the store would give them, all good."""
    return {
        SeriesKey(owner, probe, quantity): Track(
            told.at_ms, getattr(told, quantity), np.zeros(len(told.at_ms), np.uint8)
        )
        for (place, probe), told in record.readings.items()
        if place == owner
        for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
    }


def _enclosure(
    scenario: Scenario, record: Record, start_ms: int, days: int, rng: np.random.Generator
) -> Enclosure:
    tank = scenario.enclosures[0]
    known = (start_ms - days * DAY_MS, start_ms)
    return Enclosure.model_validate(
        {
            "id": TANK,
            "name": "Tank",
            "timezone": scenario.timezone,
            "lights_on": tank.lights_on,
            "lights_off": tank.lights_off,
            "probe": [
                {"id": probe.id, "zone": probe.zone, "period_s": probe.period_s}
                for probe in scenario.probes
            ],
            "range": {
                probe.zone: _range(scenario, record.readings[TANK, probe.id], known, rng)
                for probe in scenario.probes
                if probe.zone != SUBSTRATE
            },
        }
    )


def _range(
    scenario: Scenario, told: Readings, known: tuple[int, int], rng: np.random.Generator
) -> dict[str, dict[str, list[float]]]:
    inside = (told.at_ms >= known[0]) & (told.at_ms < known[1])
    tank = scenario.enclosures[0]
    seconds = wall_clock.seconds_of_day(told.at_ms, scenario.clock)
    lit = wall_clock.between(seconds, tank.lights_on, tank.lights_off)
    return {
        when: {
            quantity.value: _span(getattr(told, quantity)[inside & where], quantity, rng)
            for quantity in MARGINS
        }
        for when, where in (("day", lit), ("night", ~lit))
    }


def _span(values: NDArray[np.float64], quantity: Quantity, rng: np.random.Generator) -> list[float]:
    margin = float(rng.uniform(*MARGINS[quantity]))
    lowest, highest = BOUNDS[quantity]
    low = max(lowest, round(float(values.min()) - margin, 1))
    return [low, min(highest, round(float(values.max()) + margin, 1))]
