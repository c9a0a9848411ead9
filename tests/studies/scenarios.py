"""Humidity alarms with a known cause, drawn from simulated rooms, for the study of causes.

Alarms are raised as the program would: the watched probe beyond its limit for the on-delay, not
within half an hour of a lid opening that the journal has (alarms are suppressed then). An alarm
that the fault did not cause, since the twin without fault is beyond the limit too, is thrown away.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.air import vapour_pressure
from monitor.analysis.causes import CauseKind, Evidence, History, Side
from monitor.analysis.causes.rules import MOSTLY
from monitor.simulation import Fault, FaultKind, Readings, wall_clock
from monitor.simulation.models import SUBSTRATE
from monitor.simulation.random_scenarios import ENCLOSURE_ID, Case, Kind, play, random_scenario
from monitor.times import DAY_MS, MINUTE_MS

ON_DELAY_MS = 20 * MINUTE_MS
OPENED_MS = 30 * MINUTE_MS
BURN_IN_MS = DAY_MS
MARGIN_RH = (3.0, 5.0)
INSIDE = (0.1, 0.4)
"""Where limits inside the usual swing lie, as a share of it."""
SILENT = (Kind.PROBE_STUCK, Kind.PROBE_UNPLUGGED)
"""Kinds that raise no humidity alarm."""

HIGH_KINDS = {
    "mister_runs_on": (
        Kind.MISTER_FAILED,
        CauseKind.DRYING,
        FaultKind.MISTER_FAILURE,
        (-4.0, -1.5),
    ),
    "lamp_fails": (Kind.LAMP_STUCK, CauseKind.WARMING, FaultKind.LAMP_FAILURE, None),
    "room_damp": (Kind.ROOM_DRIED, CauseKind.ROOM, FaultKind.ROOM_DRY_AIR, (-0.7, -0.3)),
    "probe_drifts_up": (Kind.PROBE_DRIFTS, CauseKind.PROBE, FaultKind.PROBE_DRIFT, (0.8, 4.0)),
    "probe_jumped_up": (Kind.PROBE_JUMPED, CauseKind.PROBE, FaultKind.PROBE_JUMP, (8.0, 25.0)),
    "swing_up": (Kind.SWING, CauseKind.SWING, None, None),
}
"""What raises humidity: the base scenario, the cause, the fault and its strength."""


@dataclass(frozen=True, slots=True, eq=False)
class World:
    """A played scenario, as probes and journal saw it, and its twin without fault."""

    kind: str
    cause: CauseKind
    case: Case
    faults: int
    readings: dict[str, Readings]
    calm: Readings
    """The watched probe in the twin."""
    mistings_ms: tuple[int, ...]
    openings_ms: NDArray[np.int64]

    @property
    def watched(self) -> Readings:
        """The target's readings."""
        return self.readings[self.case.watched]

    def lit(self, at_ms: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Where the timer wants light."""
        tank = self.case.scenario.enclosures[0]
        seconds = wall_clock.seconds_of_day(at_ms, self.case.scenario.clock)
        return wall_clock.between(seconds, tank.lights_on, tank.lights_off)

    def calm_range(self, *, lit: bool) -> tuple[float, float]:
        """Lowest and highest reading before the onset, by day or by night."""
        at_ms = self.calm.at_ms
        known = (at_ms > self.case.start_ms + BURN_IN_MS) & (at_ms <= self.case.onset_ms)
        humidity = self.calm.humidity[known & (self.lit(at_ms) == lit)]
        return float(humidity.min()), float(humidity.max())

    def history(self, probe: str, now_ms: int, days: float | None = None) -> History:
        """A probe's readings up to now, of so many days."""
        told = self.readings[probe]
        period_s = next(p.period_s for p in self.case.scenario.probes if p.id == probe)
        whole = History(told.at_ms, told.temperature, told.humidity, period_s)
        return whole.between(now_ms - round((days or 30.0) * DAY_MS), now_ms)


@dataclass(frozen=True, slots=True, eq=False)
class Alarm:
    """A humidity alarm in a world, and what really was behind it."""

    world: World
    side: Side
    since_ms: int
    raised_ms: int
    limit: float

    def true_share(self, at_ms: int) -> float:
        """Water's share of what the fault had changed in ln RH by then (NaN: nothing)."""
        return _true_share(self.world, at_ms)

    def truth(self, at_ms: int | None = None) -> CauseKind:
        """The cause (default: when the alarm was raised).

        What two faults at once amount to goes by the true share: one may have done nothing yet.
        """
        if self.world.faults < 2:
            return self.world.cause
        share = self.true_share(at_ms or self.raised_ms)
        if share > MOSTLY:
            return CauseKind.DRYING
        return CauseKind.WARMING if share < 1.0 - MOSTLY else CauseKind.MIXED

    def evidence(
        self,
        now_ms: int | None = None,
        *,
        second: bool = True,
        room: bool = True,
        days: float | None = None,
    ) -> Evidence:
        """What the program would have had at that time (default: when the alarm was raised)."""
        now_ms = now_ms or self.raised_ms
        world = self.world
        probes = [p for p in world.case.scenario.probes if p.owner == ENCLOSURE_ID]
        others = [p.id for p in probes[1:] if p.zone != SUBSTRATE] if second else []
        return Evidence(
            target=world.history(world.case.watched, now_ms, days),
            since_ms=self.since_ms,
            now_ms=now_ms,
            limit=self.limit,
            side=self.side,
            others=tuple(world.history(probe, now_ms, days) for probe in others),
            room=world.history("room", now_ms, days) if room else None,
            misted_ms=tuple(at_ms for at_ms in world.mistings_ms if at_ms <= now_ms),
            clock=world.case.scenario.clock,
        )

    def stands(self, now_ms: int) -> bool:
        """Whether the probe is still beyond the limit then."""
        told = self.world.watched
        index = int(np.searchsorted(told.at_ms, now_ms, side="right")) - 1
        if told.at_ms[-1] < now_ms:
            return False
        return bool(_beyond(told.humidity[index : index + 1], self.limit, self.side)[0])


def draw(rng: np.random.Generator, kind: Kind | None = None) -> World:
    """A random world with three probes, one of them in the room, in which humidity may fall."""
    case = random_scenario(rng, kind, probes=2, room_probe=True)
    return _played(case, case.kind.value, CauseKind(case.cause))


def draw_high(rng: np.random.Generator, kind: str) -> World:
    """A random world in which humidity may rise."""
    base, cause, what, strength = HIGH_KINDS[kind]
    case = random_scenario(rng, base, probes=2, room_probe=True)
    faults: tuple[Fault, ...] = ()
    if what is not None:
        probe = case.watched if cause is CauseKind.PROBE else None
        amount = None if strength is None else float(rng.uniform(*strength))
        faults = (Fault(what, case.onset_ms, owner=ENCLOSURE_ID, probe=probe, strength=amount),)
    return _played(replace(case, scenario=replace(case.scenario, faults=faults)), kind, cause)


def alarm(
    world: World, rng: np.random.Generator, side: Side = Side.LOW, *, inside: bool = False
) -> Alarm | None:
    """The first alarm after the onset, if one is raised and the fault is what caused it.

    Limits lie outside what was seen on calm days, by day and by night; for the swing, or with
    ``inside``, they lie inside.
    """
    swings = world.cause is CauseKind.SWING
    told = world.watched
    share = rng.uniform(*INSIDE) if swings or inside else -rng.uniform(*MARGIN_RH)
    limits = np.empty(len(told.at_ms))
    lit = world.lit(told.at_ms)
    for where in (True, False):
        low, high = world.calm_range(lit=where)
        depth = share * (high - low) if share > 0.0 else share
        limits[lit == where] = low + depth if side is Side.LOW else high - depth
    found = _raised(world, limits, side)
    if found is None:
        return None
    since_ms, raised_ms, limit = found
    calm_humidity = float(np.interp(raised_ms, world.calm.at_ms, world.calm.humidity))
    calm_too = bool(_beyond(np.array([calm_humidity]), limit, side)[0])
    if calm_too and not swings:
        return None
    return Alarm(world, side, since_ms, raised_ms, limit)


def _played(case: Case, kind: str, cause: CauseKind) -> World:
    played = play(case)
    opened = [e.at_ms for e in played.record.events if e.kind == "maintenance"]
    return World(
        kind=kind,
        cause=cause,
        case=case,
        faults=len(case.scenario.faults),
        readings={probe: told for (_, probe), told in played.record.readings.items()},
        calm=played.calm.readings[ENCLOSURE_ID, case.watched],
        mistings_ms=tuple(e.at_ms for e in played.record.events if e.kind == "misted"),
        openings_ms=np.array(opened, dtype=np.int64),
    )


def _beyond(
    humidity: NDArray[np.float64], limit: float | NDArray[np.float64], side: Side
) -> NDArray[np.bool_]:
    return np.asarray(humidity < limit if side is Side.LOW else humidity > limit)


def _raised(world: World, limits: NDArray[np.float64], side: Side) -> tuple[int, int, float] | None:
    """When the limit was crossed for good and when the alarm was raised, and the limit then."""
    told, openings = world.watched, world.openings_ms
    last = np.searchsorted(openings, told.at_ms, side="right") - 1
    opened = np.zeros(len(told.at_ms), np.bool_)
    if len(openings):
        opened = (last >= 0) & (told.at_ms - openings[np.maximum(last, 0)] <= OPENED_MS)
    counts = _beyond(told.humidity, limits, side) & ~opened & (told.at_ms > world.case.onset_ms)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], counts, [False]]).astype(np.int8)))
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        raised = int(np.searchsorted(told.at_ms, told.at_ms[first] + ON_DELAY_MS))
        if raised < end:
            return int(told.at_ms[first]), int(told.at_ms[raised]), float(limits[raised])
    return None


def _true_share(world: World, at_ms: int) -> float:
    """Water's share of what the fault did, from the probe and its twin under the same weather."""
    (t0, h0), (t1, h1) = (
        (
            float(np.interp(at_ms, told.at_ms, told.temperature)),
            float(np.interp(at_ms, told.at_ms, told.humidity)),
        )
        for told in (world.calm, world.watched)
    )
    if min(h0, h1) <= 0.0 or h0 == h1:
        return np.nan
    water = np.log(vapour_pressure(t1, h1) / vapour_pressure(t0, h0))
    return float(water / np.log(h1 / h0))
