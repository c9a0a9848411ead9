"""Simulated enclosures for judging the misting assessment, with their truth.

``draw`` builds one enclosure whose mist evaporates at once (what the fitted model assumes) or in
which one assumption is broken, ``live`` runs it for some days under mistings that the keeper or a
timer gives, and ``try_plan`` runs it on under another schedule.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from monitor.simulation import wall_clock
from monitor.simulation.models import (
    EnclosureModel,
    Misting,
    Opening,
    ProbeModel,
    Scenario,
    ZoneModel,
)
from monitor.simulation.random_rooms import random_room
from monitor.simulation.record import Record
from monitor.simulation.simulator import Simulator

TANK = "tank"
ROOM = "room"
DAY_MS = 86_400_000
FIRST_DAY = dt.date(2026, 1, 1)


CHANGE_DAY = 7
"""From then on the lid is ajar, or the nozzle clogged."""


class Kind(StrEnum):
    """What is wrong with the fitted model in a world."""

    MATCHED = "matched"
    DAY_NIGHT = "day_night"
    BREATHES = "vent_breathes"
    SUBSTRATE = "substrate_feeds"
    SLOW_MIST = "slow_mist"
    LAG_2 = "lag_2_min"
    LAG_8 = "lag_8_min"
    SMALL = "small_doses"
    SATURATING = "into_saturation"
    WET_GLASS = "wet_glass"
    LID_AJAR = "lid_ajar"
    CLOGGED = "clogged"


@dataclass(frozen=True, slots=True)
class Given:
    """One misting that truly happened."""

    at_ms: int
    seconds: float
    logged: bool


@dataclass(frozen=True, slots=True)
class World:
    """One enclosure in its room, and what is needed to run it."""

    kind: Kind
    scenario: Scenario
    start_ms: int
    seed: int
    dose: float
    """Grams a second of misting adds to each m3 of air, where it all evaporates."""
    seconds: float
    per_day: int
    timer: bool
    """The same times every day; else they vary."""
    unlogged: float
    with_room: bool


@dataclass(frozen=True, slots=True)
class Life:
    """A stretch of a world's time with its mistings; ``after`` can run on from its end."""

    world: World
    record: Record
    given: tuple[Given, ...]
    after: Simulator

    @property
    def truth(self) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """The rate (per hour) at which the air goes to its asymptote in each step, and if lit."""
        tank = self.world.scenario.enclosures[0]
        enclosure = self.record.enclosures[TANK]
        seconds = wall_clock.seconds_of_day(self.record.at_ms, self.world.scenario.clock)
        lit = wall_clock.between(seconds, tank.lights_on, tank.lights_off)
        moist = np.minimum(1.0, enclosure.water.substrate_g / (tank.dry_below * tank.substrate_g))
        return enclosure.exchange + (tank.kappa + tank.transpiration * lit) * moist, lit

    @property
    def drying_rate(self) -> tuple[float, float]:
        """The true rate by day and by night, per hour: the middle one of all steps."""
        rate, lit = self.truth
        return float(np.median(rate[lit])), float(np.median(rate[~lit]))


def draw(rng: np.random.Generator, kind: Kind, *, with_room: bool | None = None) -> World:
    """One enclosure, within what keepers build (spans are our own choice)."""
    volume = float(np.exp(rng.uniform(np.log(0.03), np.log(0.3))))
    exchange = float(np.exp(rng.uniform(np.log(0.4), np.log(2.0))))
    kappa = float(rng.uniform(0.2, 0.9))
    lights_on = int(rng.integers(6, 11))
    lamp_k = float(rng.uniform(1.5, 4.5))
    tank = EnclosureModel(
        id=TANK,
        zones=(
            ZoneModel("canopy", lamp_k, 0.0, rng.uniform(0.5, 2.5), rng.uniform(900, 2400)),
            ZoneModel(
                "substrate", 0.3 * lamp_k, 0.0, rng.uniform(0.3, 1.5), rng.uniform(7200, 14400)
            ),
        ),
        volume_m3=volume,
        lights_on=dt.time(lights_on),
        lights_off=dt.time(lights_on + int(rng.integers(10, 13))),
        opening=Opening(dt.time(int(rng.integers(17, 21))), chance=rng.uniform(0.2, 0.8)),
        exchange=exchange,
        exchange_per_k=rng.uniform(0.0, 0.03),
        kappa=kappa,
        transpiration=rng.uniform(0.0, 0.2),
        substrate_g=20_000 * volume,
        dry_below=0.3,
        start_substrate=0.9,
        start_humidity=rng.uniform(55.0, 80.0),
        airborne=1.0,
        wall_coolness=0.0,
        film_kappa=60.0,
        film_g=60.0 * volume,
        film_breaks_g=0.2 * volume,
    )
    full = float(rng.uniform(1.5, 5.0))
    lag_s = rng.uniform(10.0, 40.0)
    match kind:
        case Kind.DAY_NIGHT:
            tank = replace(tank, transpiration=exchange + kappa)
        case Kind.BREATHES:
            tank = replace(tank, exchange_per_k=1.0 / lamp_k)
        case Kind.SUBSTRATE:
            tank = replace(
                tank, airborne=0.4, film_kappa=rng.uniform(0.8, 1.6), film_breaks_g=10 * volume
            )
            full *= 1.6
        case Kind.SLOW_MIST:
            tank = replace(tank, airborne=0.05, film_kappa=40.0, film_breaks_g=30 * volume)
        case Kind.LAG_2:
            lag_s = 120.0
        case Kind.LAG_8:
            lag_s = 480.0
        case Kind.SMALL:
            full = float(rng.uniform(0.3, 0.8))
        case Kind.SATURATING:
            full = float(rng.uniform(8.0, 14.0))
        case Kind.WET_GLASS:
            tank = replace(
                tank,
                airborne=rng.uniform(0.02, 0.08),
                film_kappa=rng.uniform(4.0, 10.0),
                film_g=30 * volume * rng.uniform(0.3, 1.5),
                film_breaks_g=30 * volume * rng.uniform(0.2, 0.5),
                wall_coolness=rng.uniform(0.1, 0.4),
            )
            full *= 1.6
    period_s = float(rng.choice([30.0, 60.0]))
    noise = rng.uniform(0.15, 0.45)

    def probe(owner: str, zone: str) -> ProbeModel:
        return ProbeModel(
            owner,
            "probe",
            zone,
            period_s=period_s,
            temperature_noise=rng.uniform(0.02, 0.06),
            humidity_noise=noise,
            temperature_offset=rng.uniform(-0.3, 0.3),
            humidity_offset=rng.uniform(-1.5, 1.5),
            temperature_lag_s=rng.uniform(20.0, 60.0),
            humidity_lag_s=lag_s,
            dropout=rng.uniform(0.0, 0.01),
            soaks=False,
        )

    seconds = float(rng.integers(5, 31))
    day = FIRST_DAY + dt.timedelta(days=int(rng.integers(365)))
    midnight = dt.datetime.combine(day, dt.time(0), dt.UTC)
    return World(
        kind=kind,
        scenario=Scenario(
            (tank,), (probe(TANK, "canopy"), probe(ROOM, "room")), random_room(rng), room_id=ROOM
        ),
        start_ms=round(midnight.timestamp() * 1000),
        seed=int(rng.integers(2**31)),
        dose=full / seconds,
        seconds=seconds,
        per_day=int(rng.integers(2, 6)),
        timer=bool(rng.random() < 0.5),
        unlogged=float(rng.uniform(0.1, 0.6)),
        with_room=bool(rng.random() < 0.5) if with_room is None else with_room,
    )


def live(world: World, days: int, rng: np.random.Generator, step_s: float = 60.0) -> Life:
    """Let a world run for whole days from its start, misted as its keeper does."""
    simulator = Simulator(world.scenario, world.start_ms, step_s, world.seed)
    usual = _times(world, rng)
    record: Record | None = None
    given: list[Given] = []
    for day in range(days):
        if day == CHANGE_DAY:
            world = _changed(world)
        times = usual if world.timer else _times(world, rng)
        doses = tuple(
            Misting((at,), seconds, world.dose * _volume(world), spread=0.08)
            for at, seconds in times
        )
        simulator.scenario = _misted(world.scenario, doses)
        midnight = world.start_ms + day * DAY_MS
        part = simulator.advance(midnight + DAY_MS)
        record = part if record is None else record.then(part)
        given += [
            Given(midnight + _ms(at), seconds, bool(rng.random() >= world.unlogged))
            for at, seconds in times
        ]
    assert record is not None
    return Life(world, record, tuple(sorted(given, key=lambda each: each.at_ms)), simulator)


def _changed(world: World) -> World:
    """The world after what happens on the eighth day."""
    (tank,) = world.scenario.enclosures
    match world.kind:
        case Kind.LID_AJAR:
            ajar = replace(tank, exchange=tank.exchange + 0.6 * (tank.exchange + tank.kappa))
            return replace(world, scenario=replace(world.scenario, enclosures=(ajar,)))
        case Kind.CLOGGED:
            return replace(world, dose=0.45 * world.dose)
    return world


def try_plan(
    life: Life, times: Sequence[tuple[dt.time, float]], days: int, settle: int = 1
) -> Record:
    """The world under a schedule from the end of a life on; the first days are left out."""
    world = life.world
    doses = tuple(
        Misting((at,), seconds, world.dose * _volume(world), spread=0.08) for at, seconds in times
    )
    simulator = life.after.fork(_misted(world.scenario, doses))
    simulator.advance(simulator.now_ms + settle * DAY_MS)
    return simulator.advance(simulator.now_ms + days * DAY_MS)


def _misted(scenario: Scenario, doses: tuple[Misting, ...]) -> Scenario:
    return replace(scenario, enclosures=(replace(scenario.enclosures[0], misting=doses),))


def _volume(world: World) -> float:
    return world.scenario.enclosures[0].volume_m3


def _times(world: World, rng: np.random.Generator) -> tuple[tuple[dt.time, float], ...]:
    """Times of one day, not too close, with seconds that vary by hand but not by timer."""
    gap = 24 * 60 // world.per_day
    found = []
    for number in range(world.per_day):
        minute = number * gap + int(rng.integers(0, int(0.75 * gap)))
        share = 1.0 if world.timer else float(rng.uniform(0.6, 1.4))
        seconds = max(1.0, round(world.seconds * share))
        found.append((dt.time(minute // 60, minute % 60), seconds))
    return tuple(found)


def _ms(at: dt.time) -> int:
    return 1000 * (at.hour * 3600 + at.minute * 60 + at.second)
