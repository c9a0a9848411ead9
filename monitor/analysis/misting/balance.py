"""The moisture balance of an enclosure's air: closed forms, and a run of it under any schedule.

    dv/dt = lambda (v_inf - v) + film_rate b(w) (v_wet - v),   v <= v_sat
    dw/dt = -film_rate b(w) (v_wet - v)

v is the vapour the air holds, w the film on glass and leaves, both g/m3 of enclosure air. Misting
adds to both; what the air cannot hold becomes film. lambda is the *apparent drying rate*, v_inf the
wet asymptote: what the air goes to while ground and plants are as wet as they are. lambda is not an
air-exchange rate: wet surfaces hold the air up as fast as they let it dry out.
"""

from dataclasses import dataclass
from math import log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.air import Values
from monitor.analysis.misting.climate import Flags

Array = NDArray[np.float64]


def content_after(hours: Values, start: Values, asymptote: Values, rate_per_h: Values) -> Array:
    """Content after some hours without misting: v_inf + (v0 - v_inf) exp(-lambda t).

    Args:
        hours: zero or more.
        start: g/m3, below saturation.
        asymptote: v_inf, g/m3.
        rate_per_h: lambda.
    """
    return np.asarray(asymptote + (start - asymptote) * np.exp(-rate_per_h * np.asarray(hours)))


def hours_to(target: float, start: float, asymptote: float, rate_per_h: float) -> float | None:
    """How long the content takes from ``start`` to ``target``; None if it never gets there.

    From saturation, time counts from when the film is gone.
    """
    if asymptote == target or (start - asymptote) / (target - asymptote) < 1.0:
        return None
    return log((start - asymptote) / (target - asymptote)) / rate_per_h


def half_gone_min(rate_per_h: float) -> float:
    """Minutes until half of what a misting added is gone."""
    return 60.0 * (hours_to(0.5, 1.0, 0.0, rate_per_h) or 0.0)


class Train(NamedTuple):
    """Equal mistings at even distances, after a long time: g/m3."""

    peak: float
    trough: float
    mean: float


def train(added: float, every_h: float, asymptote: float, rate_per_h: float) -> Train:
    """What equal mistings of ``added`` g/m3 each settle to, as long as they do not saturate."""
    peak = asymptote + added / -np.expm1(-rate_per_h * every_h)
    return Train(float(peak), float(peak - added), asymptote + added / (rate_per_h * every_h))


@dataclass(frozen=True, slots=True)
class Balance:
    """One enclosure, or many at once where the numbers are arrays that broadcast."""

    day: Values
    """lambda while lit, per hour."""
    night: Values
    at_once: Values
    """g/m3 that each second of misting puts into the air, as far as that takes it."""
    on_film: Values
    """g/m3 that each second of misting leaves on surfaces."""
    film_rate: Values
    """Per hour."""
    film_reach: Values
    """g/m3 below which the film is broken."""
    wetness: Values
    """What a film pulls towards, as a share of saturation."""

    @property
    def added(self) -> Values:
        """g/m3 of each second of misting that go into the air sooner or later."""
        return self.at_once + self.on_film


SATURATED_FILM = {"film_rate": 600.0, "film_reach": 0.1, "wetness": 1.0}
"""A film that keeps the air saturated while it lasts: dew, where the mist itself leaves none."""


class State(NamedTuple):
    """Where a run is: content and film, g/m3."""

    content: Array
    film: Array


def run(
    balance: Balance,
    asymptote: Array,
    saturated: Array,
    lit: Flags,
    seconds: Array,
    step_h: float,
    start: State,
) -> tuple[Array, State]:
    """Content at the end of each step, and the state it ends in.

    Args:
        balance: its numbers broadcast against one step of the columns.
        asymptote: v_inf in each step, g/m3; time is the last axis.
        saturated: content at saturation likewise.
        lit: whether the lights are on likewise.
        seconds: of misting that begin with each step likewise.
        step_h: length of a step.
        start: content and film before.

    Everything is held for a step, in which the run is exact but for the film's share of the pull,
    which is right to the second order.
    """
    v, w = start
    steps = seconds.shape[-1]
    shape = np.broadcast_shapes(
        *(each.shape[:-1] for each in (asymptote, saturated, lit, seconds)),
        *(np.shape(each) for each in (balance.day, balance.film_rate, v)),
    )
    contents = np.empty((steps, *shape))
    for k in range(steps):
        full, misted = saturated[..., k], seconds[..., k]
        rate = np.where(lit[..., k], balance.day, balance.night)
        v = v + balance.at_once * misted
        w = w + balance.on_film * misted + np.maximum(v - full, 0.0)
        v = np.minimum(v, full)
        dry_end = content_after(step_h, v, asymptote[..., k], rate)
        if not np.any(w > 0.0):
            v = dry_end
        else:
            # The film's share of the pull is that of the middle of the step.
            _, first = _pulled(balance, rate, asymptote[..., k], full, v, w, step_h)
            middle = np.maximum(w - 0.5 * first, 0.0)
            end, taken = _pulled(balance, rate, asymptote[..., k], full, v, middle, step_h)
            spent = taken > w
            # A film that does not last the step gives what it has, no more.
            v = np.where(spent, dry_end + w, end)
            w = np.where(spent, 0.0, w - np.maximum(taken, 0.0))
        over = np.maximum(v - full, 0.0)
        v, w = v - over, w + over
        contents[k] = v
    return np.moveaxis(contents, 0, -1), State(v, w)


def _pulled(
    balance: Balance, rate: Array, asymptote: Array, full: Array, v: Array, w: Array, step_h: float
) -> tuple[Array, Array]:
    """Content after a step beside a film of a fixed size, and what that gave, g/m3."""
    pull = balance.film_rate * -np.expm1(-w / balance.film_reach)
    total = rate + pull
    wet = balance.wetness * full
    aim = (rate * asymptote + pull * wet) / total
    fade = np.exp(-total * step_h)
    mean = aim + (v - aim) * (1.0 - fade) / (total * step_h)
    return aim + (v - aim) * fade, pull * (wet - mean) * step_h
