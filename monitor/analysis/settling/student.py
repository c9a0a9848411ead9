"""The tail of Student's t distribution, in closed form."""

from functools import cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


def upper_tail(t: Floats, df: int) -> Floats:
    """Chance that a t variate with ``df`` (whole, at least 1) degrees of freedom exceeds ``t``.

    Abramowitz and Stegun 1964, 26.7.3 and 26.7.4 (from memory; tests hold it against scipy).
    """
    angle = np.arctan(t / np.sqrt(df))
    sine, cosine = np.sin(angle), np.cos(angle)
    square = cosine**2
    total = np.zeros_like(t)
    for coefficient in _coefficients(df):
        total = total * square + coefficient
    inside = sine * total if df % 2 == 0 else 2.0 / np.pi * (angle + sine * cosine * total)
    return np.asarray(0.5 * (1.0 - inside))


@cache
def _coefficients(df: int) -> tuple[float, ...]:
    """Of the powers of the squared cosine, the highest power first."""
    found: list[float] = []
    coefficient = 1.0
    for k in range(1 + df % 2, df, 2):
        found.append(coefficient)
        coefficient *= k / (k + 1)
    return tuple(reversed(found))
