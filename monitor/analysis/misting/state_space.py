"""The moisture balance as a linear state space, filtered over a whole record.

State: the content v of vapour, and a slow random part u of the content it goes to.

    dv/dt = lambda (X beta + u - v) + film_rate b (v_wet - v) + noise      du/dt = -u / 24 h + noise
    reading = v + lag h + noise

lambda may differ by day and by night. b (0 to 1) is how much of the film is there, v_wet what it
pulls towards. After a misting, and when the air leaves saturation, v is unknown and starts anew.
The coefficients beta and lag enter linearly: each has a column that runs through the same filter as
the data, so that they come out by least squares on the innovations (an augmented filter, as in
P. de Jong, Biometrika 78 (1991), from memory).

Stretches of two days run side by side, each after half a day that it shares with the one before:
by then the filter has forgotten where it started.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.analysis.misting.climate import Column, Flags

Matrix = NDArray[np.float64]

SLOW_H = 24.0
"""Memory of the slow random part, hours."""
STRETCH_H = 48.0
OVERLAP_H = 12.0
UNKNOWN = 1e9
"""Relative variance of what is not known at all."""
UNSEEN = 1e18
"""Relative variance of a reading that is not there."""


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """A record as the filter takes it: one entry a bin, no NaN; contents in g/m3."""

    step_h: float
    content: Column
    valid: Flags
    """Bins that count: measured, unsaturated, not during a misting."""
    anew: Flags
    """Bins from which on v is unknown."""
    variance: Column
    """Of a reading's noise, relative."""
    lag: Column
    """What each hour by which humidity lags behind temperature adds to a reading."""
    drivers: Matrix
    """What the asymptote depends on, one column each."""
    saturated: Column
    lit: Flags
    misted: Column
    """Seconds of misting that began in each bin."""

    def __len__(self) -> int:
        return len(self.content)


class Rates(NamedTuple):
    """One or more sets of the parameters that do not enter linearly, one entry each."""

    day: Column
    """lambda by day, per hour."""
    night: Column
    unrest: Column
    """Variance that v gains in an hour, relative to the noise of a reading."""
    slow: Column
    """Standard deviation of u, likewise relative."""
    film_rate: Column
    """Per hour; 0: what is misted is in the air at once."""
    film_reach: Column
    """g/m3 of film below which it is broken."""
    film_per_s: Column
    """g/m3 that a second of misting leaves on surfaces."""
    wetness: Column
    """What a film pulls towards, as a share of saturation."""


class Innovations(NamedTuple):
    """What each counted reading said that was not foreseen, and its relative variance.

    ``data`` and ``variance``: (readings, sets); ``columns``: (readings, sets, 1 + drivers), what of
    it each unit of the lag and of each coefficient explains; ``bins``: where each reading is.
    """

    data: Matrix
    columns: NDArray[np.float64]
    variance: Matrix
    bins: NDArray[np.int64]


def film(seen: Observed, rates: Rates) -> Matrix:
    """Film on surfaces at the beginning of each bin, g/m3: (bins, sets).

    It loses what the air takes up, which the readings tell: film_rate b (v_wet - v).
    """
    return _film(seen, rates, np.arange(len(seen))[:, None])[:, 0]


def share(film_g_m3: Matrix, rates: Rates) -> Matrix:
    """b: how much of a whole film is there, 0 to 1."""
    covered: Matrix = 1.0 - np.exp(-film_g_m3 / rates.film_reach)
    return covered


def innovations(seen: Observed, rates: Rates) -> Innovations:
    """Run the filter for each set of rates."""
    rows, counted = _stretches(len(seen), seen.step_h)
    steps, stretches = rows.shape
    sets = len(rates.day)
    width = 2 + seen.drivers.shape[1]

    pull = _pull(seen, rates, rows)
    first, second, decay, gain = (each.reshape(steps, -1) for each in pull[:4])
    feed = pull[4].reshape(steps, -1, width)
    target = np.zeros((steps, stretches * sets, width))
    target[:, :, 0] = np.repeat(seen.content[rows], sets, axis=1)
    target[:, :, 1] = np.repeat(seen.lag[rows], sets, axis=1)
    noise = np.where(seen.valid[rows], seen.variance[rows], UNSEEN)
    noise[:-1][np.diff(rows, axis=0) == 0] = UNSEEN
    noise = np.repeat(noise, sets, axis=1)
    anew = np.repeat(seen.anew[rows] | (rows == 0), sets, axis=1)
    known = ~anew
    lost = UNKNOWN * anew

    keep = float(np.exp(-seen.step_h / SLOW_H))
    slow = np.tile(rates.slow**2, stretches)
    slow_gain = slow * (1.0 - keep * keep)
    unrest = np.tile(rates.unrest, stretches) * seen.step_h
    v = np.zeros((stretches * sets, width))
    u = np.zeros_like(v)
    p_v, p_vu, p_u = np.full(len(slow), UNKNOWN), np.zeros(len(slow)), slow.copy()
    data = np.empty((steps, stretches * sets, width))
    variance = np.empty((steps, stretches * sets))
    for k in range(steps):
        if k:
            a, g = decay[k], gain[k]
            v = a[:, None] * v + g[:, None] * u + feed[k]
            u = keep * u
            cross = g * p_u
            p_v = first[k] * p_v + second[k] * p_vu + g * cross + unrest
            p_vu = keep * (a * p_vu + cross)
            p_u = keep * keep * p_u + slow_gain
        p_v = p_v + lost[k]
        p_vu = p_vu * known[k]
        s = p_v + noise[k]
        by_v, by_u = p_v / s, p_vu / s
        error = target[k] - v
        data[k], variance[k] = error, s
        v = v + by_v[:, None] * error
        u = u + by_u[:, None] * error
        p_u = p_u - by_u * p_vu
        p_vu = p_vu * (noise[k] / s)
        p_v = by_v * noise[k]

    data = data.reshape(steps, stretches, sets, width).swapaxes(0, 1)
    variance = variance.reshape(steps, stretches, sets).swapaxes(0, 1)
    use = (counted & (noise[:, ::sets] < UNSEEN)).T & (variance[:, :, 0] < 1e-3 * UNKNOWN)
    data, variance = data[use], variance[use]
    columns = -data[:, :, 1:]
    columns[:, :, 0] *= -1.0
    return Innovations(data[:, :, 0], columns, variance, rows.T[use])


class Motion(NamedTuple):
    """How v goes into each bin: v = decay v + gain u + drive."""

    decay: Column
    gain: Column
    drive: Column


def motion(seen: Observed, rates: Rates, coefficients: Column) -> Motion:
    """Of one set of rates with its coefficients (lag first)."""
    pull = _pull(seen, rates, np.arange(len(seen))[:, None])
    decay, gain, feed = (each[:, 0, 0] for each in pull[2:])
    return Motion(decay, gain, feed[:, 0] + feed[:, 2:] @ coefficients[1:])


def smoothed(seen: Observed, rates: Rates, coefficients: Column) -> tuple[Column, Column]:
    """V and u given the whole record, for one set of rates and its coefficients (lag first).

    Source: Rauch, Tung, Striebel 1965 (from memory).
    """
    decay, gain, drive = motion(seen, rates, coefficients)
    first, second = decay * decay, 2.0 * decay * gain
    reading = seen.content - seen.lag * coefficients[0]
    noise = np.where(seen.valid, seen.variance, UNSEEN)
    keep = float(np.exp(-seen.step_h / SLOW_H))
    slow = float(rates.slow[0]) ** 2
    unrest = float(rates.unrest[0]) * seen.step_h
    count = len(seen)
    ahead = np.zeros((count, 5))  # v, u, p_v, p_vu, p_u before each reading
    after = np.zeros((count, 5))
    v, u, p_v, p_vu, p_u = 0.0, 0.0, UNKNOWN, 0.0, slow
    for k in range(count):
        if k:
            a, g = decay[k], gain[k]
            v, u = a * v + g * u + drive[k], keep * u
            cross = g * p_u
            p_v = first[k] * p_v + second[k] * p_vu + g * cross + unrest
            p_vu = keep * (a * p_vu + cross)
            p_u = keep * keep * p_u + slow * (1.0 - keep * keep)
        if seen.anew[k]:
            p_v, p_vu = p_v + UNKNOWN, 0.0
        ahead[k] = v, u, p_v, p_vu, p_u
        s = p_v + noise[k]
        error = reading[k] - v
        v, u = v + p_v / s * error, u + p_vu / s * error
        p_v, p_vu, p_u = p_v * noise[k] / s, p_vu * noise[k] / s, p_u - p_vu * p_vu / s
        after[k] = v, u, p_v, p_vu, p_u
    for k in range(count - 2, -1, -1):
        a, g = (0.0, 0.0) if seen.anew[k + 1] else (decay[k + 1], gain[k + 1])
        v, u, p_v, p_vu, p_u = after[k]
        ahead_v, ahead_u, q_v, q_vu, q_u = ahead[k + 1]
        determinant = q_v * q_u - q_vu * q_vu
        more_v = (after[k + 1, 0] - ahead_v) / determinant
        more_u = (after[k + 1, 1] - ahead_u) / determinant
        toward_v = q_u * more_v - q_vu * more_u
        toward_u = q_v * more_u - q_vu * more_v
        after[k, 0] = v + (a * p_v + g * p_vu) * toward_v + keep * p_vu * toward_u
        after[k, 1] = u + (a * p_vu + g * p_u) * toward_v + keep * p_u * toward_u
    return after[:, 0], after[:, 1]


def _stretches(count: int, step_h: float) -> tuple[NDArray[np.int64], Flags]:
    """Bins of each stretch, one column each, and which of them count there."""
    length, overlap = round(STRETCH_H / step_h), round(OVERLAP_H / step_h)
    number = max(1, round(count / length))
    length = -(-count // number)
    steps = np.arange(-overlap, length)[:, None]
    rows = steps + length * np.arange(number)
    counted = (steps >= 0) & (rows < count)
    # Before the record begins its first bin stands in, after it ends its last one.
    return np.clip(rows, 0, count - 1), counted


def _film(seen: Observed, rates: Rates, rows: NDArray[np.int64]) -> NDArray[np.float64]:
    lacking = np.maximum(
        rates.wetness * seen.saturated[rows, None] - seen.content[rows, None], 0.0
    ) * (rates.film_rate * seen.step_h)
    added = rates.film_per_s * seen.misted[rows, None]
    added[:-1][np.diff(rows, axis=0) == 0] = 0.0
    held = np.empty(lacking.shape)
    now = np.zeros(lacking.shape[1:])
    for k in range(len(rows)):
        now = now + added[k]
        held[k] = now
        now = np.maximum(now - (1.0 - np.exp(-now / rates.film_reach)) * lacking[k], 0.0)
    return held


def _pull(
    seen: Observed, rates: Rates, rows: NDArray[np.int64]
) -> tuple[Matrix, Matrix, Matrix, Matrix, NDArray[np.float64]]:
    """For each step into a bin, stretch and set: a^2, 2 a g, a, g, and what the columns gain.

    v = a v + g u + gain; exact where lambda, b and what v goes to are straight within a step.
    """
    rate = np.where(seen.lit[rows, None], rates.day, rates.night)
    if np.any(rates.film_rate > 0.0):
        wet = rates.film_rate * share(_film(seen, rates, rows), rates)
    else:
        wet = np.zeros_like(rate)
    total = rate + wet
    through = np.empty_like(total)
    through[0] = total[0] * seen.step_h
    through[1:] = 0.5 * (total[:-1] + total[1:]) * seen.step_h
    decay = np.exp(-through)
    late = 1.0 - (1.0 - decay) / through
    early = 1.0 - decay - late
    dry = rate / total

    feed = np.zeros((*total.shape, 2 + seen.drivers.shape[1]))
    drivers = seen.drivers[rows][:, :, None, :]
    feed[1:, :, :, 2:] = (early[1:] * dry[:-1])[..., None] * drivers[:-1]
    feed[1:, :, :, 2:] += (late[1:] * dry[1:])[..., None] * drivers[1:]
    aim = (1.0 - dry) * rates.wetness * seen.saturated[rows, None]
    feed[1:, :, :, 0] = early[1:] * aim[:-1] + late[1:] * aim[1:]
    gain = (1.0 - decay) * dry
    return decay * decay, 2.0 * decay * gain, decay, gain, feed
