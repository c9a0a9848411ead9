"""Unseen enclosures in which one thing goes wrong, for judging assessments against a known truth.

``random_scenario`` draws one; ``play`` runs it beside a twin in which nothing goes wrong, under the
same weather and luck, so that what the fault changed is known exactly.
"""

import datetime as dt
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from monitor.air import saturation_vapour_pressure
from monitor.simulation import wall_clock
from monitor.simulation.courses import Column
from monitor.simulation.faults import Fault, FaultKind
from monitor.simulation.models import Scenario
from monitor.simulation.random_rooms import random_probes, random_room, random_tank
from monitor.simulation.record import Record, Times, ZoneTruth, first_below
from monitor.simulation.simulator import Simulator

ENCLOSURE_ID = "tank"
CLOCKS = ("UTC", "Europe/Lisbon", "America/New_York", "Australia/Adelaide")
FIRST_DAY = dt.date(2026, 1, 1)
BURN_IN_MS = wall_clock.HOUR_MS * 24
FEWEST_DAYS = 4.0
HOLD_S = 600.0
LEAST_FALL_RH = 0.5
MARGIN_RH = (3.0, 5.0)


class Kind(StrEnum):
    """What happens in a scenario."""

    MISTER_FAILED = "mister_failed"
    MISTER_CLOGGED = "mister_clogged"
    LID_OPEN = "lid_open"
    VENT_AJAR = "vent_ajar"
    MAT_STUCK = "mat_stuck"
    LAMP_STUCK = "lamp_stuck"
    MISTER_AND_MAT = "mister_and_mat"
    LID_AND_MAT = "lid_and_mat"
    ROOM_HEATED = "room_heated"
    ROOM_DRIED = "room_dried"
    PROBE_DRIFTS = "probe_drifts"
    PROBE_JUMPED = "probe_jumped"
    PROBE_STUCK = "probe_stuck"
    PROBE_UNPLUGGED = "probe_unplugged"
    SWING = "swing"

    @property
    def cause(self) -> str:
        """The cause to be named, in the words of the project."""
        return _CAUSES[self]


_CAUSES = {
    Kind.MISTER_FAILED: "drying",
    Kind.MISTER_CLOGGED: "drying",
    Kind.LID_OPEN: "drying",
    Kind.VENT_AJAR: "drying",
    Kind.MAT_STUCK: "warming",
    Kind.LAMP_STUCK: "warming",
    Kind.MISTER_AND_MAT: "mixed",
    Kind.LID_AND_MAT: "mixed",
    Kind.ROOM_HEATED: "room",
    Kind.ROOM_DRIED: "room",
    Kind.PROBE_DRIFTS: "probe",
    Kind.PROBE_JUMPED: "probe",
    Kind.PROBE_STUCK: "probe",
    Kind.PROBE_UNPLUGGED: "probe",
    Kind.SWING: "swing",
}


@dataclass(frozen=True, slots=True)
class Case:
    """A scenario with its truth; its enclosure has the id ``tank``.

    ``watched`` is the first probe's id and ``zone`` where it hangs: the limit is meant for it.
    ``depth`` places the limits: %RH below the lowest of the calm days before, or for the swing the
    share of the calm range by which they are too high.
    """

    kind: Kind
    scenario: Scenario
    start_ms: int
    onset_ms: int
    end_ms: int
    step_s: float
    seed: int
    watched: str
    zone: str
    depth: float

    @property
    def cause(self) -> str:
        """The cause to be named, in the words of the project."""
        return self.kind.cause


@dataclass(frozen=True, slots=True)
class Played:
    """A case that was run; times are None where it never came to that."""

    case: Case
    record: Record
    calm: Record
    """The twin without fault."""
    day_limit: float
    """%RH, for the watched probe's zone while the timer has the lights on."""
    night_limit: float
    crossed_ms: int | None
    """When the true humidity there fell below its limit after the onset, for ten minutes."""
    told_ms: int | None
    """When the watched probe's readings did."""
    water_share: float | None
    """How much of the fall (in ln RH, against the twin) is lost vapour, when it truly crossed.

    None where the twin fell just as low: then it was the weather.
    """


def random_scenario(
    rng: np.random.Generator,
    kind: Kind | None = None,
    *,
    days: float = 8.0,
    probes: int | None = None,
    room_probe: bool | None = None,
    step_s: float = 60.0,
) -> Case:
    """Draw an enclosure, its room and probes, and what goes wrong on the last day or two.

    Args:
        rng: where all chance comes from.
        kind: what happens; default: any, equally likely.
        days: length of the record.
        probes: one to three in the enclosure; default: any.
        room_probe: whether the room has one; default: either.
        step_s: step of the simulation.

    Raises:
        ValueError: ``days`` is too short for a calm day before the onset.
    """
    if days < FEWEST_DAYS:
        raise ValueError(f"days {days} must be at least {FEWEST_DAYS}")
    kind = kind or list(Kind)[int(rng.integers(len(Kind)))]
    count = probes or int(rng.integers(1, 4))
    with_room = bool(rng.integers(2)) if room_probe is None else room_probe
    step_ms = round(1000 * step_s)

    day = FIRST_DAY + dt.timedelta(days=int(rng.integers(365)))
    midnight = dt.datetime.combine(day, dt.time(0), dt.UTC)
    start_ms = round(midnight.timestamp() * 1000) + int(rng.integers(24)) * wall_clock.HOUR_MS
    end_ms = start_ms + round(days * wall_clock.DAY_S * 1000)
    tank = random_tank(rng, ENCLOSURE_ID, long=_LONG.get(kind), misted=kind in _MISTED)
    scenario = Scenario(
        enclosures=(tank,),
        probes=random_probes(rng, tank, count, room_id="room" if with_room else None),
        room=random_room(rng),
        room_id="room",
        timezone=CLOCKS[int(rng.integers(len(CLOCKS)))],
    )
    early_ms = end_ms - round(rng.uniform(1.2, 2.0) * wall_clock.DAY_S * 1000)
    if kind is Kind.LAMP_STUCK:
        two_days_ms = 2 * wall_clock.DAY_S * 1000
        early_ms = wall_clock.occurrences(
            (tank.lights_off,), scenario.clock, end_ms - two_days_ms, end_ms
        )[0]
    onset_ms = start_ms + (early_ms - start_ms) // step_ms * step_ms
    first = scenario.probes[0]
    depth = rng.uniform(0.2, 0.5) if kind is Kind.SWING else rng.uniform(*MARGIN_RH)
    return Case(
        kind=kind,
        scenario=replace(scenario, faults=_faults(rng, kind, onset_ms, first.id)),
        start_ms=start_ms,
        onset_ms=onset_ms,
        end_ms=end_ms,
        step_s=step_s,
        seed=int(rng.integers(2**31)),
        watched=first.id,
        zone=first.zone,
        depth=float(depth),
    )


def play(case: Case) -> Played:
    """Run a case beside its calm twin."""
    calm_world = Simulator(replace(case.scenario, faults=()), case.start_ms, case.step_s, case.seed)
    before = calm_world.advance(case.onset_ms)
    world = calm_world.fork(case.scenario)
    record = before.then(world.advance(case.end_ms))
    calm = before.then(calm_world.advance(case.end_ms))

    truth = record.enclosures[ENCLOSURE_ID].zones[case.zone]
    twin = calm.enclosures[ENCLOSURE_ID].zones[case.zone]
    told = record.readings[ENCLOSURE_ID, case.watched]
    lit, told_lit = _lit(case, record.at_ms), _lit(case, told.at_ms)
    known = (calm.at_ms > case.start_ms + BURN_IN_MS) & (calm.at_ms <= case.onset_ms)
    day, night = (_limit(case, twin.humidity[known & where]) for where in (lit, ~lit))

    after, later = record.at_ms > case.onset_ms, told.at_ms > case.onset_ms
    crossed_ms = first_below(
        record.at_ms[after], truth.humidity[after], np.where(lit, day, night)[after], HOLD_S
    )
    told_ms = first_below(
        told.at_ms[later], told.humidity[later], np.where(told_lit, day, night)[later], HOLD_S
    )
    share = None
    if crossed_ms is not None:
        share = _water_share(truth, twin, int(np.searchsorted(record.at_ms, crossed_ms)))
    return Played(case, record, calm, day, night, crossed_ms, told_ms, share)


def _lit(case: Case, at_ms: Times) -> NDArray[np.bool_]:
    tank = case.scenario.enclosures[0]
    seconds = wall_clock.seconds_of_day(at_ms, case.scenario.clock)
    return wall_clock.between(seconds, tank.lights_on, tank.lights_off)


def _limit(case: Case, calm: Column) -> float:
    lowest, highest = float(calm.min()), float(calm.max())
    if case.kind is Kind.SWING:
        return lowest + case.depth * (highest - lowest)
    return lowest - case.depth


_MISTED = {Kind.MISTER_FAILED, Kind.MISTER_CLOGGED, Kind.MISTER_AND_MAT}
_LONG = {
    Kind.MAT_STUCK: True,
    Kind.MISTER_AND_MAT: True,
    Kind.LID_AND_MAT: True,
    Kind.LAMP_STUCK: False,
}
"""Which shape a kind needs: only the long have a mat, and there it would make up for the lamp."""


def _faults(rng: np.random.Generator, kind: Kind, onset_ms: int, probe: str) -> tuple[Fault, ...]:
    def fault(
        what: FaultKind, strength: tuple[float, float] | None = None, probe: str | None = None
    ) -> Fault:
        amount = None if strength is None else float(rng.uniform(*strength))
        return Fault(what, onset_ms, owner=ENCLOSURE_ID, probe=probe, strength=amount)

    failed = fault(FaultKind.MISTER_FAILURE)
    mat = fault(FaultKind.HEAT_MAT_STUCK_ON)
    match kind:
        case Kind.MISTER_FAILED:
            return (failed,)
        case Kind.MISTER_CLOGGED:
            return (fault(FaultKind.MISTER_FAILURE, (0.6, 0.95)),)
        case Kind.LID_OPEN:
            return (fault(FaultKind.LID_OPEN, (8.0, 25.0)),)
        case Kind.VENT_AJAR:
            return (fault(FaultKind.LID_OPEN, (1.5, 4.0)),)
        case Kind.MAT_STUCK:
            return (mat,)
        case Kind.LAMP_STUCK:
            return (fault(FaultKind.LAMP_STUCK_ON),)
        case Kind.MISTER_AND_MAT:
            return (failed, fault(FaultKind.HEAT_MAT_STUCK_ON, (0.55, 0.85)))
        case Kind.LID_AND_MAT:
            return (fault(FaultKind.LID_OPEN, (0.8, 3.0)), mat)
        case Kind.ROOM_HEATED:
            return (fault(FaultKind.ROOM_HEATING_DRY, (3.0, 7.0)),)
        case Kind.ROOM_DRIED:
            return (fault(FaultKind.ROOM_DRY_AIR, (0.3, 0.6)),)
        case Kind.PROBE_DRIFTS:
            return (fault(FaultKind.PROBE_DRIFT, (-4.0, -0.8), probe),)
        case Kind.PROBE_JUMPED:
            return (fault(FaultKind.PROBE_JUMP, (-35.0, -12.0), probe),)
        case Kind.PROBE_STUCK:
            return (fault(FaultKind.PROBE_STUCK, probe=probe),)
        case Kind.PROBE_UNPLUGGED:
            return (fault(FaultKind.PROBE_UNPLUGGED, probe=probe),)
        case Kind.SWING:
            return ()


def _water_share(truth: ZoneTruth, twin: ZoneTruth, index: int) -> float | None:
    """Share of the ln e lost in the ln RH lost; the rest is warming."""
    if twin.humidity[index] - truth.humidity[index] < LEAST_FALL_RH:
        return None

    def ln_vapour(zone: ZoneTruth) -> float:
        saturated = saturation_vapour_pressure(float(zone.temperature[index]))
        return float(np.log(zone.humidity[index] * saturated))

    lost = float(np.log(twin.humidity[index] / truth.humidity[index]))
    return (ln_vapour(twin) - ln_vapour(truth)) / lost
