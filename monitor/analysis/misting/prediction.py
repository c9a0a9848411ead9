"""What a schedule is predicted to give: humidity through the day, and what it comes to.

Every logged day is run again under the schedule, with many draws of what the fit leaves open and of
what a nozzle does from one misting to the next. What is promised is what all but a few of those
runs keep, over a stretch of days to come.
"""

from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.air import saturation_vapour_pressure
from monitor.analysis.misting.balance import SATURATED_FILM, Array, Balance, State, run
from monitor.analysis.misting.climate import Column, Flags
from monitor.analysis.misting.days import DRIEST, Days
from monitor.analysis.misting.fit import FILM_FLOOR, FLOOR, Fit, unpack
from monitor.analysis.misting.schedule import Goal, Limits, Schedule, on_steps
from monitor.analysis.misting.water import Water

T = TypeVar("T", bound=np.generic)

WARM_UP_H = 12.0
"""Of the day's own end, run before it begins."""
NEAR_SATURATION_RH = 95.0
DRAWS = 40
STRETCH_DAYS = 7
"""How many days to come a promise is made for."""
BOOTSTRAPS = 400
BLOCK_DAYS = 2
"""Neighbouring days hang together."""
BAND = (0.1, 0.9)
WEATHER = 0.85
"""How far the mean of the days to come may lie from that of the logged ones, in standard deviations
of a day's mean: weather that remembers some 60 h changes slowly, and two weeks of it are few."""


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


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """An enclosure as fitted, ready to be run under any schedule."""

    fit: Fit
    water: Water
    days: Days
    volume_l: float | None = None

    def weather(self, rng: np.random.Generator, count: int = DRAWS) -> Days:
        """The days as they may come, (count, days, steps).

        Each draw is as a whole warmer or cooler, drier or moister than what was logged.
        """
        days = self.days
        means = np.stack([days.temperature.mean(axis=1), days.asymptote.mean(axis=1)])
        spread = np.cov(means) if len(days) > 1 else np.zeros((2, 2))
        warmer, moister = WEATHER * rng.multivariate_normal(np.zeros(2), spread, count).T
        temperature = days.temperature + warmer[:, None, None]
        saturated = days.per_kpa * saturation_vapour_pressure(temperature)
        asymptote = np.maximum(days.asymptote + moister[:, None, None], DRIEST * saturated)
        return replace(days, temperature=temperature, saturated=saturated, asymptote=asymptote)

    def balance(self) -> Balance:
        """The likeliest one."""
        return balance_of(self.fit, self.water)

    def draws(self, rng: np.random.Generator, count: int = DRAWS) -> Balance:
        """As many as the fit leaves open; its numbers have the shape (count, 1)."""
        size = len(self.fit.parameters)
        floor = np.zeros((size, size))
        floor[0, 0] = (FILM_FLOOR if self.fit.wets else FLOOR) ** 2
        values, vectors = np.linalg.eigh(self.fit.covariance + floor)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        # Half-normal tails of a badly known film would reach where nothing is physical.
        normal = np.clip(rng.standard_normal((count, size)), -2.0, 2.0)
        parameters = self.fit.parameters + np.clip(normal @ root.T, -0.7, 0.7)
        spread = (self.water.high - self.water.low) / (2.0 * 1.645) / max(self.water.per_s, 1e-9)
        scale = np.maximum(0.1, 1.0 + spread * rng.standard_normal((count, 1)))
        return _balance(parameters, self.fit, self.water.at_once * scale, scale)


def balance_of(fit: Fit, water: Water) -> Balance:
    """The likeliest balance; its numbers have the shape (1, 1)."""
    return _balance(fit.parameters[None], fit, water.at_once, 1.0)


def _balance(parameters: Array, fit: Fit, at_once: Array | float, scale: Array | float) -> Balance:
    rates = unpack(parameters, fit.typical_s)
    day, night = rates.day[:, None], rates.night[:, None]
    if not fit.wets:
        return Balance(day, night, at_once, 0.0, **SATURATED_FILM)
    return Balance(
        day,
        night,
        at_once,
        rates.film_per_s[:, None] * scale,
        rates.film_rate[:, None],
        rates.film_reach[:, None],
        rates.wetness[:, None],
    )


def days_under(balance: Balance, days: Days, seconds: Array) -> Array:
    """Relative humidity through every day under a schedule, %RH.

    Args:
        balance: its numbers broadcast against (..., days).
        days: that are run again.
        seconds: of misting at each step of the day; leading axes stand for schedules, and the last
            but one for the days (length 1: all alike).
    """
    warm_up = round(WARM_UP_H / days.step_h)

    def twice(rows: NDArray[T]) -> NDArray[T]:
        return np.concatenate([rows[..., -warm_up:], rows], axis=-1)

    asymptote, saturated = twice(days.asymptote), twice(days.saturated)
    start = np.minimum(asymptote[..., 0], saturated[..., 0])
    content, _ = run(
        balance,
        asymptote,
        saturated,
        twice(days.lit),
        twice(seconds),
        days.step_h,
        State(start, np.zeros_like(start)),
    )
    humidity: Array = 100.0 * content[..., warm_up:] / days.saturated
    return humidity


def predict(
    model: Model, schedule: Schedule, goal: Goal, limits: Limits, rng: np.random.Generator
) -> Prediction:
    """What a schedule is predicted to give in the enclosure.

    Args:
        model: the enclosure.
        schedule: of every day.
        goal: what the air should keep to.
        limits: of the mister, for the water it sprays.
        rng: where the draws come from.
    """
    days = model.weather(rng)
    seconds = np.broadcast_to(on_steps(schedule, days), days.saturated.shape)
    luck = 1.0 + model.water.scatter * rng.standard_normal(seconds.shape)
    humidity = days_under(model.draws(rng), days, seconds * np.maximum(luck, 0.0))
    low, high = limits_by_step(goal, days)
    dry, wet = humidity < low, humidity > high
    inside = 1.0 - (dry | wet).mean(axis=-1)
    stretch = longest(humidity < goal.dry_below) * days.step_h
    near = humidity >= NEAR_SATURATION_RH
    missing = saturation_vapour_pressure(days.temperature) * (1.0 - humidity / 100.0)
    total_s = sum(spray.seconds for spray in schedule)
    evaporated = total_s * model.water.per_s
    return Prediction(
        humidity=_band(humidity),
        deficit=_band(missing),
        time_in_range=float(inside.mean()),
        promised=promise(inside, goal.confidence, rng),
        too_dry=float(dry.mean()),
        too_wet=float(wet.mean()),
        hours_near_saturation=float(24.0 * near.mean()),
        longest_wet_h=float(np.median(longest(near)) * days.step_h),
        dry_hours=float(np.median(stretch)),
        dry_days=float((stretch >= goal.dry_hours).mean()),
        water_g_m3=evaporated,
        water_ml_per_day=_millilitres(total_s, evaporated, model, limits),
    )


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


def promise(inside: Array, confidence: float, rng: np.random.Generator) -> float:
    """Share that a stretch of days keeps with that confidence: draws and days resampled.

    Args:
        inside: share in range, (draws, days).
        confidence: how sure it must be.
        rng: where the resampling comes from.
    """
    draws, count = inside.shape
    blocks = -(-STRETCH_DAYS // BLOCK_DAYS)
    first = rng.integers(0, count, (BOOTSTRAPS, blocks, 1))
    days = ((first + np.arange(BLOCK_DAYS)) % count).reshape(BOOTSTRAPS, -1)[:, :STRETCH_DAYS]
    which = rng.integers(0, draws, (BOOTSTRAPS, 1))
    return float(np.quantile(inside[which, days].mean(axis=1), 1.0 - confidence))


def _band(values: Array) -> Band:
    flat = values.reshape(-1, values.shape[-1])
    low, high = np.quantile(flat, BAND, axis=0)
    return Band(np.median(flat, axis=0), low, high)


def _millilitres(total_s: float, evaporated: float, model: Model, limits: Limits) -> float | None:
    if limits.flow_ml_per_s is not None:
        return total_s * limits.flow_ml_per_s
    return None if model.volume_l is None else evaporated * model.volume_l / 1000.0
