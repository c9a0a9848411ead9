"""How the weather goes on: daily means of the days to come, drawn from those that were logged.

Weather hangs together from day to day. So what the last days had of it fades slowly, the level of
two weeks is known as if of three days alone, and a week may lie apart from them as a whole. This is
kriging with an unknown level and spread: generalised least squares for the level, the conditional
normal distribution for the days, Student's t for the spread (N. Cressie, Statistics for Spatial
Data, 1993, chapter 3; from memory).
"""

from statistics import NormalDist

import numpy as np

from monitor.analysis.misting.balance import Array
from monitor.analysis.misting.climate import Column

STRETCH_DAYS = 7
"""How many days to come are drawn, and promised for."""
DAY_ON_DAY = 0.77
"""Correlation of the means of neighbouring days in weather that remembers some 60 h (own choice):
(cosh a - 1) exp(-a) / (a - 1 + exp(-a)) with a = 24 / 60."""
LEAST_KNOWN = 0.25
"""No draw is wider than twice what was logged: of two or three days the t would reach anywhere."""


def continued(number: Column, means: Array, rng: np.random.Generator, count: int) -> Array:
    """Draws of what daily means go on to be: (count, STRETCH_DAYS, quantities).

    Args:
        number: of each logged day, counted in days.
        means: of each quantity on it, (days, quantities).
        rng: of the draws.
        count: of the draws.
    """
    logged = len(number)
    at = np.concatenate([number, number[-1] + 1.0 + np.arange(STRETCH_DAYS)])
    alike = DAY_ON_DAY ** np.abs(at[:, None] - at)
    inverse = np.linalg.inv(alike[:logged, :logged])
    known = inverse.sum(axis=0)
    level = known @ means / known.sum()
    off = means - level
    free = max(1, logged - 1)
    spread = off.T @ inverse @ off / free
    ahead = alike[logged:, :logged] @ inverse
    unsaid = 1.0 - ahead.sum(axis=1)
    rest = alike[logged:, logged:] - ahead @ alike[:logged, logged:]
    rest += np.outer(unsaid, unsaid) / known.sum()
    normal = _even_normal(rng, STRETCH_DAYS * means.shape[1], count)
    normal = normal.reshape(count, STRETCH_DAYS, -1)
    known_spread = rng.chisquare(free, (count, 1, 1)) / free
    normal /= np.sqrt(np.maximum(known_spread, LEAST_KNOWN))
    drawn: Array = level + ahead @ off + root_of(rest) @ normal @ root_of(spread).T
    return drawn


def root_of(covariance: Array) -> Array:
    """What turns independent normal variates into some of that covariance."""
    values, vectors = np.linalg.eigh(covariance)
    root: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return root


def _even_normal(rng: np.random.Generator, size: int, count: int) -> Array:
    """Normal variates, (count, size), each spread evenly (Latin hypercube): few will do."""
    inverse = NormalDist().inv_cdf
    even = np.array([inverse((k + 0.5) / count) for k in range(count)])
    return np.stack([rng.permutation(even) for _ in range(size)], axis=1)
