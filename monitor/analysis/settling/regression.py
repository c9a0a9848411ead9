"""One coefficient of a daily series, with an uncertainty that is honest under autocorrelation.

The noise is taken as AR(1) with a correlation phi from one day to the next that nobody knows. For
each phi of a grid the coefficient is estimated by generalised least squares; its distribution is
the mixture of the Student t distributions so found, weighted by their restricted likelihood (REML;
Patterson and Thompson 1971, Biometrika 58:545, from memory). Where the form of the signal is
unknown too (a time constant), the mixture runs over a grid of forms as well.
"""

from dataclasses import dataclass

import numpy as np

from monitor.analysis.settling.build import Floats
from monitor.analysis.settling.student import upper_tail

PHI = np.linspace(0.0, 0.9, 10)
"""Correlations from one day to the next."""

FEWEST_SPARE = 6
"""Days beyond the number of coefficients, without which nothing is estimated."""

HALVINGS = 26
HALVINGS_SPAN = 20.0
"""An interval is sought within so many standard errors, and found to a millionth of one."""

SCALED_MAD = 1.4826
"""Makes the median absolute deviation of normal values their standard deviation."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A coefficient as a mixture of t distributions with ``df`` degrees of freedom.

    Arrays have one row per phi and one column per form of the signal; weights sum to 1.
    ``spread`` is the standard deviation of single days about the fit.
    """

    centre: Floats
    error: Floats
    weight: Floats
    df: int
    spread: float

    @property
    def value(self) -> float:
        """The mean of the mixture."""
        return float(np.sum(self.weight * self.centre))

    def chance_above(self, limit: float) -> float:
        """Chance that the coefficient exceeds ``limit``."""
        return float(self._chances_above(np.array([limit]))[0])

    def is_within(self, limit: float, risk: float) -> bool:
        """Whether it lies between -limit and +limit, wrong to either side with at most ``risk``."""
        return self.chance_above(limit) < risk and 1.0 - self.chance_above(-limit) < risk

    def is_beyond(self, limit: float, risk: float) -> bool:
        """Whether it lies outside -limit to +limit, wrong with at most ``risk``."""
        return self.chance_above(-limit) - self.chance_above(limit) < risk

    def interval(self, risk: float) -> tuple[float, float]:
        """The values that are exceeded with chance ``1 - risk`` and ``risk``."""
        far = HALVINGS_SPAN * float(self.error.max())
        low = np.full(2, float(self.centre.min()) - far)
        high = np.full(2, float(self.centre.max()) + far)
        asked = np.array([1.0 - risk, risk])
        for _ in range(HALVINGS):
            middle = 0.5 * (low + high)
            below = self._chances_above(middle) > asked
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        lower, upper = (0.5 * (low + high)).tolist()
        return lower, upper

    def _chances_above(self, limits: Floats) -> Floats:
        away = (limits[:, np.newaxis, np.newaxis] - self.centre) / self.error
        return np.asarray(np.sum(self.weight * upper_tail(away, self.df), axis=(1, 2)))


def estimate(
    day: Floats, value: Floats, beside: Floats, signals: Floats, floor: float
) -> Estimate | None:
    """The coefficient of a signal in a series of days.

    Args:
        day: when, in days, rising; gaps are allowed. Shape (n,).
        value: what. Shape (n,).
        beside: columns fitted along with the signal (levels, the room). Shape (q, n).
        signals: forms the signal may have. Shape (m, n).
        floor: standard deviation that the noise has at least (a sensor's resolution).

    Returns:
        None, if too few days are spare or the columns beside leave nothing of the signal.
    """
    beside = _independent(beside)
    spare = len(day) - len(beside) - 1
    if spare < FEWEST_SPARE:
        return None
    left = signals - signals @ beside.T @ beside
    size = np.linalg.norm(left, axis=1)
    if np.any(size <= 1e-6 * np.linalg.norm(signals, axis=1)):
        return None
    shape = (len(signals), *beside.shape)
    design = np.concatenate([np.broadcast_to(beside, shape), signals[:, np.newaxis]], axis=1)

    rho = PHI[:, np.newaxis] ** np.diff(day)
    sigma = np.sqrt(1.0 - rho**2)
    x = _whitened(design, rho, sigma)
    y = _whitened(value, rho, sigma)
    gram = x @ x.swapaxes(-1, -2)
    moment = (x @ y[:, np.newaxis, :, np.newaxis])[..., 0]
    inverse = np.linalg.inv(gram)
    fitted = (inverse @ moment[..., np.newaxis])[..., 0]
    misfit = np.sum(y**2, axis=-1)[:, np.newaxis] - np.sum(fitted * moment, axis=-1)
    variance = np.maximum(misfit / spare, floor**2)

    # The columns beside are orthonormal, so log |X'X| is that of what is left of the signal.
    likelihood = (
        -np.sum(np.log(sigma), axis=-1)[:, np.newaxis]
        - 0.5 * np.linalg.slogdet(gram)[1]
        + np.log(size)
        - 0.5 * spare * np.log(variance)
    )
    weight = np.exp(likelihood - likelihood.max())
    weight /= weight.sum()
    return Estimate(
        centre=fitted[..., -1],
        error=np.sqrt(variance * inverse[..., -1, -1]),
        weight=weight,
        df=spare,
        spread=float(np.sqrt(np.sum(weight * variance))),
    )


def clipped(value: Floats, floor: float, half: int = 3) -> Floats:
    """The series with outliers drawn in to three scaled median absolute deviations.

    Hampel identifier over ``half`` days to either side, fewer at the ends (Hampel 1974, J. Am.
    Stat. Assoc. 69:383, from memory). ``floor`` is the least deviation, in the values' unit.
    """
    padded = np.pad(value, half, constant_values=np.nan)
    around = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    middle = _medians(around)
    spread = SCALED_MAD * _medians(np.abs(around - middle[:, np.newaxis]))
    reach = 3.0 * np.maximum(spread, floor)
    return np.clip(value, middle - reach, middle + reach)


def _medians(rows: Floats) -> Floats:
    """The median of each row, NaN left out (np.nanmedian is ten times slower on short rows)."""
    ordered = np.sort(rows, axis=1)  # NaN goes last
    count = np.sum(~np.isnan(rows), axis=1)
    row = np.arange(len(rows))
    return np.asarray(0.5 * (ordered[row, (count - 1) // 2] + ordered[row, count // 2]))


def _independent(columns: Floats) -> Floats:
    """Orthonormal rows that span the same space; what nearly depends on others is left out."""
    length = np.linalg.norm(columns, axis=1)
    scaled = columns[length > 0] / length[length > 0, np.newaxis]
    _, strength, rows = np.linalg.svd(scaled, full_matrices=False)
    return np.asarray(rows[strength > 1e-3])


def _whitened(columns: Floats, rho: Floats, sigma: Floats) -> Floats:
    """Columns (..., n) freed of AR(1) correlation, for each phi: shape (phi, ..., n)."""
    shape = (len(rho), *(1,) * (columns.ndim - 1), -1)
    rho, sigma = rho.reshape(shape), sigma.reshape(shape)
    later = (columns[..., 1:] - rho * columns[..., :-1]) / sigma
    first = np.broadcast_to(columns[..., :1], (len(rho), *columns.shape[:-1], 1))
    return np.concatenate([first, later], axis=-1)
