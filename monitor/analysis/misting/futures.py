"""An enclosure as fitted, and the days as they may come to it.

Every logged day is run again under a schedule, with many draws of what the fit leaves open, of the
weather, and of what a nozzle does from one misting to the next.
"""

from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from monitor.air import saturation_vapour_pressure
from monitor.analysis.misting.balance import SATURATED_FILM, Array, Balance, State, run
from monitor.analysis.misting.days import DRIEST, Days
from monitor.analysis.misting.fit import CONFIDENCE_Z, FILM_FLOOR, FLOOR, Fit, Rate, unpack
from monitor.analysis.misting.schedule import Schedule, on_steps
from monitor.analysis.misting.water import Water

T = TypeVar("T", bound=np.generic)

WARM_UP_H = 12.0
"""Of the day's own end, run before it begins."""
DRAWS = 80
WEATHER = 1.1
"""How far the mean of the days to come may lie from that of the logged ones, in standard deviations
of a day's mean: weather that remembers some 60 h changes slowly, and two weeks of it are few."""


@dataclass(frozen=True, slots=True, eq=False)
class Model:
    """An enclosure as fitted, ready to be run under any schedule.

    ``day`` and ``night`` are the drying rates that may be told; None: too doubtful. What is
    predicted draws on the fit all the same, with all that it leaves open.
    """

    fit: Fit
    water: Water
    days: Days
    day: Rate | None
    night: Rate | None
    volume_l: float | None = None

    def weather(self, rng: np.random.Generator, count: int = DRAWS) -> Days:
        """The days as they may come, (count, days, steps).

        Each draw is as a whole warmer or cooler, drier or moister than what was logged.
        """
        days = self.days
        means = np.stack([days.temperature.mean(axis=1), days.asymptote.mean(axis=1)])
        spread = np.cov(means) if len(days) > 1 else np.zeros((2, 2))
        values, vectors = np.linalg.eigh(spread)
        root = vectors * np.sqrt(np.maximum(values, 0.0))
        warmer, moister = WEATHER * root @ _even_normal(rng, count)
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
        reach = 0.5 * (self.water.high - self.water.low) / max(self.water.per_s, 1e-9)
        spread = reach / CONFIDENCE_Z
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


def _even_normal(rng: np.random.Generator, count: int) -> Array:
    """Pairs of normal variates, (2, count), each spread evenly (Latin hypercube): few will do."""
    inverse = NormalDist().inv_cdf
    even = np.array([inverse((k + 0.5) / count) for k in range(count)])
    return np.array([rng.permutation(even), rng.permutation(even)])


class Futures:
    """Draws of the days to come; the same seed gives the same ones, whatever the schedule."""

    def __init__(self, model: Model, seed: int = 0) -> None:
        rng = np.random.default_rng(seed)
        self.model = model
        self.days = model.weather(rng)
        self._balance = model.draws(rng)
        luck = 1.0 + model.water.scatter * rng.standard_normal(self.days.saturated.shape)
        self._luck = np.maximum(luck, 0.0)
        self.seed = int(rng.integers(2**31))
        """For what is drawn from the outcome."""

    def under(self, schedule: Schedule) -> Array:
        """Relative humidity, %RH: (draws, days, steps)."""
        return days_under(self._balance, self.days, self._luck * on_steps(schedule, self.days))
