"""First-order lags and random courses, continued exactly from one stretch of time to the next."""

from itertools import accumulate
from math import exp, sqrt

import numpy as np
from numpy.typing import NDArray

Column = NDArray[np.float64]


def follow(targets: Column, start: float, tau_s: float, step_s: float) -> Column:
    """First-order lag behind ``targets``, each held for one step: exact for constant steps.

    dx/dt = (target - x) / tau; ``start`` is x before the first step; the result is x at the end of
    each step.
    """
    keep = exp(-step_s / tau_s) if tau_s > 0 else 0.0
    chased = accumulate(
        ((1.0 - keep) * targets).tolist(), lambda x, pull: keep * x + pull, initial=start
    )
    return np.fromiter(chased, np.float64, len(targets) + 1)[1:]


class Wander:
    """A first-order autoregressive course: mean 0, standard deviation 1, memory ``tau_s``."""

    def __init__(self, rng: np.random.Generator, tau_s: float, step_s: float) -> None:
        self._rng = rng
        self._tau_s = tau_s
        self._step_s = step_s
        self._now = float(rng.standard_normal())

    def advance(self, steps: int) -> Column:
        """The next ``steps`` values."""
        keep = exp(-self._step_s / self._tau_s)
        shocks = self._rng.standard_normal(steps) * (sqrt(1.0 - keep * keep) / (1.0 - keep))
        values = follow(shocks, self._now, self._tau_s, self._step_s)
        self._now = float(values[-1]) if steps else self._now
        return values
