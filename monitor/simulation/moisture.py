"""Where the water of an enclosure goes: vapour, film on glass and leaves, substrate, outside.

Within a step the vapour density v obeys a linear equation with constant coefficients,

    dv/dt = sum_i a_i (v_i - v),

one term for each surface or opening i that it is exchanged with, so the step is exact at any
length: v goes to v_inf = sum a_i v_i / sum a_i at the rate lambda = sum a_i. The flow through each
term is a_i (v_i - mean v), and these flows add up to the change of v: no water is lost to the
arithmetic. docs/simulation.md explains every term.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import exp
from typing import Self

import numpy as np

from monitor.simulation.courses import Column
from monitor.simulation.models import EnclosureModel

VAPOUR_GAS_CONSTANT = 461.523
"""J/(kg K), as in monitor.air."""

KELVIN = 273.15


def vapour_density(temperature: Column, vapour_pressure: Column) -> Column:
    """g/m3 of water vapour at that pressure (kPa) in air of that temperature (Cel); ideal gas."""
    return 1e6 * vapour_pressure / (VAPOUR_GAS_CONSTANT * (temperature + KELVIN))


Pull = tuple[float, float]
"""A transfer rate (per hour) and the vapour density (g/m3) it pulls towards."""


def relax(v: float, hours: float, pulls: Iterable[Pull]) -> tuple[float, float]:
    """Vapour density after ``hours`` under constant pulls, and its mean meanwhile (exact)."""
    total = weighted = 0.0
    for rate, target in pulls:
        total += rate
        weighted += rate * target
    if total <= 0.0:
        return v, v
    aim = weighted / total
    end = aim + (v - aim) * exp(-total * hours)
    return end, aim + (v - end) / (total * hours)


@dataclass(frozen=True, slots=True)
class Forcing:
    """What drives the water in each step; densities in g/m3, at the air temperature inside."""

    kelvin: Column
    exchange: Column
    outside: Column
    substrate: Column
    wall: Column
    saturated: Column
    lit: Column
    mist_g: Column


@dataclass(frozen=True, slots=True)
class WaterTruth:
    """The water at the end of each step; what was misted, vented, drained counts from the start."""

    vapour_g_m3: Column
    film_g: Column
    substrate_g: Column
    misted_g: Column
    vented_g: Column
    drained_g: Column

    def then(self, later: Self) -> Self:
        """This stretch followed by the next."""
        return type(self)(
            np.concatenate([self.vapour_g_m3, later.vapour_g_m3]),
            np.concatenate([self.film_g, later.film_g]),
            np.concatenate([self.substrate_g, later.substrate_g]),
            np.concatenate([self.misted_g, later.misted_g]),
            np.concatenate([self.vented_g, later.vented_g]),
            np.concatenate([self.drained_g, later.drained_g]),
        )


@dataclass(slots=True)
class Water:
    """The stores as they run on."""

    vapour: float
    film: float
    substrate: float
    kelvin: float
    misted: float = 0.0
    vented: float = 0.0
    drained: float = 0.0

    def advance(self, model: EnclosureModel, forcing: Forcing, step_s: float) -> WaterTruth:
        """Step through the forcing, which has one entry a step."""
        hours = step_s / 3600.0
        steps = zip(
            forcing.kelvin.tolist(),
            forcing.exchange.tolist(),
            forcing.outside.tolist(),
            forcing.substrate.tolist(),
            forcing.wall.tolist(),
            forcing.saturated.tolist(),
            forcing.lit.tolist(),
            forcing.mist_g.tolist(),
            strict=True,
        )
        rows = [self._step(model, hours, *step) for step in steps]
        return WaterTruth(*np.array(rows, dtype=np.float64).reshape(-1, 6).T)

    def _step(
        self,
        model: EnclosureModel,
        hours: float,
        kelvin: float,
        exchange: float,
        outside: float,
        below: float,
        wall: float,
        saturated: float,
        lit: float,
        mist: float,
    ) -> tuple[float, float, float, float, float, float]:
        volume = model.volume_m3
        thinned = self.vapour * self.kelvin / kelvin
        self.vented += (self.vapour - thinned) * volume
        self.kelvin = kelvin
        v = thinned

        if mist > 0.0:
            flies = min(mist * model.airborne, max(0.0, saturated - v) * volume)
            v += flies / volume
            self.film += mist - flies
            self.misted += mist

        moved = volume * hours
        lowest = min(v, outside, below, wall)
        soaked = min(1.0, self.substrate / (model.dry_below * model.substrate_g))
        share = 0.5 * self.substrate / moved
        ground = (_held(model.kappa * soaked, below - lowest, share), below)
        leaves = (_held(model.transpiration * soaked * lit, saturated - lowest, share), saturated)
        wetted = 1.0 if v > wall else min(1.0, self.film / model.film_breaks_g)
        film = (model.film_kappa * wetted, wall)
        end, mean = relax(v, hours, ((exchange, outside), ground, leaves, film))
        if self.film < _flow(film, mean) * moved:
            film = (_held(film[0], wall - lowest, self.film / moved), wall)
            end, mean = relax(v, hours, ((exchange, outside), ground, leaves, film))
        self.vented -= _flow((exchange, outside), mean) * moved
        self.film -= _flow(film, mean) * moved
        self.substrate -= (_flow(ground, mean) + _flow(leaves, mean)) * moved
        v = end
        if v > saturated:
            self.film += (v - saturated) * volume
            v = saturated
        self._run_off(model)
        self.vapour = v
        return v, self.film, self.substrate, self.misted, self.vented, self.drained

    def _run_off(self, model: EnclosureModel) -> None:
        if self.film > model.film_g:
            self.substrate += self.film - model.film_g
            self.film = model.film_g
        if self.substrate > model.substrate_g:
            self.drained += self.substrate - model.substrate_g
            self.substrate = model.substrate_g


def _flow(pull: Pull, mean: float) -> float:
    """g/m3 an hour that a pull brings into air of that mean density."""
    rate, target = pull
    return rate * (target - mean)


def _held(rate: float, gap: float, available: float) -> float:
    """A transfer rate, lowered where the step would take more water than there is."""
    return rate if gap * rate <= available else available / gap
