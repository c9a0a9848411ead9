"""What a schedule is predicted to give: humidity through the day, and what it comes to.

What is promised is what all but a few of the draws of the days to come keep, over a week.
"""

from dataclasses import dataclass
from math import hypot
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.analysis.misting.balance import Array
from monitor.analysis.misting.climate import Column, Flags
from monitor.analysis.misting.days import Days
from monitor.analysis.misting.futures import Futures, Model
from monitor.analysis.misting.schedule import Goal, Limits, Schedule

NEAR_SATURATION_RH = 95.0
STRETCH_DAYS = 7
"""How many days to come a promise is made for."""
BOOTSTRAPS = 400
BLOCK_DAYS = 2
"""Neighbouring days hang together."""
BAND = (0.1, 0.9)
UNFORESEEN = 0.05
"""Of the time in range: what no draw foresees (the best of many schedules flatters itself on the
days it was chosen by)."""
CHOSEN_RISK = 0.5
"""A schedule is chosen by half the risk that its promise is stated with: what only just keeps it
keeps it least surely. Both by trial on simulated enclosures (docs/misting.md)."""


@dataclass(frozen=True, slots=True, eq=False)
class Band:
    """A course through the day: the middle, and where four in five days are, by step."""

    middle: Column
    low: Column
    high: Column


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """What a schedule is predicted to give; hours are of a day, shares of all time."""

    humidity: Band
    """%RH."""
    deficit: Band
    """Vapour pressure deficit, kPa."""
    time_in_range: float
    promised: float
    """Time in range that is kept with the goal's confidence."""
    too_dry: float
    too_wet: float
    hours_near_saturation: float
    longest_wet_h: float
    """Longest stretch near saturation of a usual day."""
    dry_hours: float
    """Longest stretch that is dry enough, of a usual day."""
    dry_days: float
    """Share of the days that dry out for long enough."""
    water_g_m3: float
    """Evaporated each day, for each m3 of enclosure."""
    water_ml_per_day: float | None
    """Sprayed, where the nozzles' flow is known, else evaporated; None without a volume."""


class Outlook(NamedTuple):
    """What decides whether a schedule will do."""

    promised: float
    dry_days: float


def outlook(futures: Futures, schedule: Schedule, goal: Goal) -> Outlook:
    """The figures a schedule is chosen by: stricter than those of ``predict``, and quicker."""
    humidity = futures.under(schedule)
    low, high = limits_by_step(goal, futures.days)
    inside = 1.0 - ((humidity < low) | (humidity > high)).mean(axis=-1)
    return Outlook(
        promise(inside, 1.0 - CHOSEN_RISK * (1.0 - goal.confidence), futures.seed),
        float((_dry_h(humidity, goal, futures.days) >= goal.dry_hours).mean()),
    )


def predict(futures: Futures, schedule: Schedule, goal: Goal, limits: Limits) -> Prediction:
    """What a schedule is predicted to give in the enclosure.

    Args:
        futures: of the enclosure.
        schedule: of every day.
        goal: what the air should keep to.
        limits: of the mister, for the water it sprays.
    """
    days, model = futures.days, futures.model
    humidity = futures.under(schedule)
    low, high = limits_by_step(goal, days)
    dry, wet = humidity < low, humidity > high
    inside = 1.0 - (dry | wet).mean(axis=-1)
    dry_h = _dry_h(humidity, goal, days)
    near = humidity >= NEAR_SATURATION_RH
    missing = days.saturated / days.per_kpa * (1.0 - humidity / 100.0)
    total_s = sum(spray.seconds for spray in schedule)
    evaporated = total_s * model.water.per_s
    return Prediction(
        humidity=_band(humidity),
        deficit=_band(missing),
        time_in_range=float(inside.mean()),
        promised=promise(inside, goal.confidence, futures.seed),
        too_dry=float(dry.mean()),
        too_wet=float(wet.mean()),
        hours_near_saturation=float(24.0 * near.mean()),
        longest_wet_h=float(np.median(longest(near)) * days.step_h),
        dry_hours=float(np.median(dry_h)),
        dry_days=float((dry_h >= goal.dry_hours).mean()),
        water_g_m3=evaporated,
        water_ml_per_day=_millilitres(total_s, evaporated, model, limits),
    )


def _dry_h(humidity: Array, goal: Goal, days: Days) -> Array:
    if goal.dry_hours <= 0.0:
        return np.full(humidity.shape[:-1], 24.0)
    return np.asarray(longest(humidity < goal.dry_below) * days.step_h, np.float64)


def limits_by_step(goal: Goal, days: Days) -> tuple[Array, Array]:
    """Lowest and highest humidity that are wanted in each step of each day, %RH."""
    return (
        np.where(days.lit, goal.day.low, goal.night.low),
        np.where(days.lit, goal.day.high, goal.night.high),
    )


def longest(flags: Flags) -> NDArray[np.int64]:
    """Length of the longest run of true values along the last axis, which closes to a ring."""
    ring = np.concatenate([flags, flags], axis=-1)
    count = np.zeros(flags.shape[:-1], dtype=np.int64)
    best = count.copy()
    for k in range(ring.shape[-1]):
        count = np.where(ring[..., k], count + 1, 0)
        np.maximum(best, count, out=best)
    return np.minimum(best, flags.shape[-1])


def promise(inside: Array, confidence: float, seed: int) -> float:
    """Share that a stretch of days keeps with that confidence: draws and days resampled.

    Args:
        inside: share in range, (draws, days).
        confidence: how sure it must be.
        seed: of the resampling.
    """
    rng = np.random.default_rng(seed)
    draws, count = inside.shape
    blocks = -(-STRETCH_DAYS // BLOCK_DAYS)
    first = rng.integers(0, count, (BOOTSTRAPS, blocks, 1))
    days = ((first + np.arange(BLOCK_DAYS)) % count).reshape(BOOTSTRAPS, -1)[:, :STRETCH_DAYS]
    which = rng.integers(0, draws, (BOOTSTRAPS, 1))
    sure = float(np.quantile(inside[which, days].mean(axis=1), 1.0 - confidence))
    mean = float(inside.mean())
    return max(0.0, mean - hypot(mean - min(sure, mean), UNFORESEEN))


def _band(values: Array) -> Band:
    flat = values.reshape(-1, values.shape[-1])
    low, high = np.quantile(flat, BAND, axis=0)
    return Band(np.median(flat, axis=0), low, high)


def _millilitres(total_s: float, evaporated: float, model: Model, limits: Limits) -> float | None:
    if limits.flow_ml_per_s is not None:
        return total_s * limits.flow_ml_per_s
    return None if model.volume_l is None else evaporated * model.volume_l / 1000.0
