"""The moisture balance fitted to a whole record by maximum likelihood, with honest intervals.

Fisher scoring on the innovations of the filter. The coefficients that enter linearly are profiled
out at each step, so that the scores left are the efficient ones. The interval is a sandwich over
half days (the scores of one half day may hang together as they like), with a floor in quadrature:
no fit of such a model deserves to be believed to better than that.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.analysis.misting.climate import Column
from monitor.analysis.misting.state_space import Innovations, Matrix, Observed, Rates, innovations

CONFIDENCE_Z = 1.6448536
"""Of a two-sided 90 % interval."""
FLOOR = 0.008
"""Least standard error of ln lambda."""
PHASE_FLOOR = 0.04
"""More of it for each unit of ln(day / night): rates that differ so are not constant either."""
FILM_FLOOR = 0.09
"""The same where the mist wets surfaces first: by trial on simulated enclosures."""
FILM_GAIN = 30.0
"""Log-likelihood by which a film must explain the record better to be believed in."""
CLUSTER_H = 12.0
NUDGE = 1e-4
BOLDEST = 0.7
"""Longest step of any logarithm."""
DONE = 0.05
"""Gain of log-likelihood that is not worth another step."""
STEPS = 25

# Priors of the logarithms (mean, standard deviation), wide: they only keep what the record does not
# tell within reason. Rates per hour, g/m3; the last turns into the wetness of a film.
PRIORS = np.array(
    [
        (np.log(1.5), 1.0),  # lambda by day
        (0.0, 0.4),  # night over day
        (np.log(0.3), 5.0),  # unrest
        (np.log(10.0), 5.0),  # slow part
        (np.log(6.0), 1.0),  # film: rate
        (np.log(4.0), 1.0),  # film: reach
        (np.log(5.0), 1.0),  # film: left by a middling misting
        (0.0, 1.0),
    ]
)
PLAIN = 4
FILMS = (PRIORS[PLAIN:, 0], np.array([0.0, 2.5, 1.5, 0.0]))
"""Where to begin: glass that dries within minutes, ground that feeds the air for hours."""
EXPECTED, EXPECTED_LAG_H, NOISE = 1.0, 0.05, 0.03
"""Prior standard deviations: a driver's share, the lag (h), beside a usual noise (g/m3)."""
DRIEST_FILM, WETNESS_SPREAD = 0.04, 0.7


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate per hour and its 90 % interval."""

    value: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Of the interval, relative to the value."""
        return 0.5 * (self.high - self.low) / self.value


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """What a record tells of the balance.

    ``coefficients`` are the lag (h) and those of the drivers; ``scale`` is the standard deviation
    of a reading's noise (g/m3), ``covariance`` that of ``parameters``.
    """

    parameters: Column
    covariance: Matrix
    coefficients: Column
    coefficient_covariance: Matrix
    scale: float
    likelihood: float
    bins: NDArray[np.int64]
    residuals: Column
    """Standardised innovations, at ``bins``: white noise of variance 1 if all is as assumed."""
    typical_s: float
    """Seconds of a middling misting."""

    @property
    def wets(self) -> bool:
        """Whether the mist wets surfaces first and evaporates from there."""
        return len(self.parameters) > PLAIN

    @property
    def rates(self) -> Rates:
        """The parameters by name, one set."""
        return unpack(self.parameters[None], self.typical_s)

    @property
    def day(self) -> Rate:
        """Apparent drying rate while the lights are on."""
        return self._rate(np.array([1.0, 0.0]))

    @property
    def night(self) -> Rate:
        """Apparent drying rate while they are off."""
        return self._rate(np.array([1.0, 1.0]))

    def _rate(self, weights: Column) -> Rate:
        log_rate = float(weights @ self.parameters[:2])
        variance = weights @ self.covariance[:2, :2] @ weights
        variance += (FILM_FLOOR if self.wets else FLOOR) ** 2
        variance += (PHASE_FLOOR * self.parameters[1]) ** 2
        reach = CONFIDENCE_Z * float(np.sqrt(variance))
        return Rate(*np.exp([log_rate, log_rate - reach, log_rate + reach]).tolist())


def fit(seen: Observed, start: Fit | None = None) -> Fit:
    """Fit the balance with and without a film; the plain one stays unless the film tells more.

    Args:
        seen: the record; mistings must be marked in it.
        start: an earlier fit of much the same record to begin from.
    """
    if start is not None:
        return _fitted(seen, start.parameters)
    plain = _fitted(seen, PRIORS[:PLAIN, 0])
    if not np.any(seen.misted):
        return plain
    wetting = max(
        (_fitted(seen, np.append(PRIORS[:PLAIN, 0], film)) for film in FILMS),
        key=lambda found: found.likelihood,
    )
    return wetting if wetting.likelihood > plain.likelihood + FILM_GAIN else plain


def unpack(parameters: Matrix, typical_s: float) -> Rates:
    """Rates of each row of parameters."""
    day = np.exp(parameters[:, 0])
    none = np.zeros(len(parameters))
    rates = Rates(
        day=day,
        night=day * np.exp(parameters[:, 1]),
        unrest=np.exp(2.0 * parameters[:, 2]),
        slow=np.exp(parameters[:, 3]),
        film_rate=none,
        film_reach=none + 1.0,
        film_per_s=none,
        wetness=none + 1.0,
    )
    if parameters.shape[1] == PLAIN:
        return rates
    return rates._replace(
        film_rate=np.exp(parameters[:, 4]),
        film_reach=np.exp(parameters[:, 5]),
        film_per_s=np.exp(parameters[:, 6]) / typical_s,
        wetness=1.0 - DRIEST_FILM * np.exp(WETNESS_SPREAD * parameters[:, 7]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Point:
    """The likelihood at some parameters, its slope and its curvature (expected information)."""

    parameters: Column
    likelihood: float
    slope: Column
    curvature: Matrix
    scores: Matrix
    information: Matrix
    coefficients: Column
    coefficient_covariance: Matrix
    scale: float
    bins: NDArray[np.int64]
    residuals: Column

    def step(self, damping: float) -> Column:
        """To a likelier point."""
        damped = self.curvature + damping * np.diag(np.diag(self.curvature))
        return np.clip(np.linalg.solve(damped, self.slope), -BOLDEST, BOLDEST)


def _fitted(seen: Observed, parameters: Column) -> Fit:
    misted = seen.misted[seen.misted > 0.0]
    typical_s = float(np.median(misted)) if len(misted) else 1.0
    damping, best = 1e-3, _point(seen, parameters, typical_s)
    for _ in range(STEPS):
        point = _point(seen, best.parameters + best.step(damping), typical_s)
        gain = point.likelihood - best.likelihood
        if gain < 0.0:
            damping *= 10.0
            if damping > 1e3:
                break
            continue
        best, damping = point, max(damping / 10.0, 1e-6)
        if gain < DONE:
            break
    return Fit(
        parameters=best.parameters,
        covariance=_sandwich(seen, best),
        coefficients=best.coefficients,
        coefficient_covariance=best.coefficient_covariance,
        scale=best.scale,
        likelihood=best.likelihood,
        bins=best.bins,
        residuals=best.residuals,
        typical_s=typical_s,
    )


def _point(seen: Observed, parameters: Column, typical_s: float) -> _Point:
    count = len(parameters)
    nudged = np.vstack([parameters, parameters + NUDGE * np.eye(count)])
    found = innovations(seen, unpack(nudged, typical_s))
    solved = [_least_squares(found, number) for number in range(count + 1)]
    error, coefficients, inverse = solved[0]
    variance = found.variance[:, 0]
    scale = float(np.sqrt(np.mean(error * error / variance)))
    deviation = np.sqrt(variance) * scale
    residuals = error / deviation
    # The scale itself is the last parameter: it moves no innovation, only their spread.
    moved = np.zeros((len(error), count + 1))
    spread = np.full((len(error), count + 1), 2.0)
    for number in range(count):
        moved[:, number] = (solved[number + 1][0] - error) / NUDGE / deviation
        spread[:, number] = np.log(found.variance[:, number + 1] / variance) / NUDGE
    scores = 0.5 * (residuals**2 - 1.0)[:, None] * spread - residuals[:, None] * moved
    information = moved.T @ moved + 0.5 * spread.T @ spread
    mean, width = PRIORS[:count].T
    away = (parameters - mean) / width
    with_scale = np.outer(information[:count, count], information[count, :count])
    return _Point(
        parameters=parameters,
        likelihood=-0.5
        * float(2 * len(error) * np.log(scale) + np.log(variance).sum() + away @ away),
        slope=scores.sum(axis=0)[:count] - away / width,
        curvature=information[:count, :count]
        - with_scale / information[count, count]
        + np.diag(width**-2.0),
        scores=scores,
        information=information,
        coefficients=coefficients,
        coefficient_covariance=scale**2 * inverse,
        scale=scale,
        bins=found.bins,
        residuals=residuals,
    )


def _least_squares(found: Innovations, number: int) -> tuple[Column, Column, Matrix]:
    """What is left of the innovations, the coefficients, and the inverse of their information."""
    weight = 1.0 / np.sqrt(found.variance[:, number])
    columns = found.columns[:, number] * weight[:, None]
    expected = np.full(columns.shape[1], EXPECTED)
    expected[0] = EXPECTED_LAG_H
    expected[1] = np.inf  # the steady part may be anything
    prior = np.diag((NOISE / expected) ** 2)
    inverse = np.asarray(np.linalg.inv(columns.T @ columns + prior), np.float64)
    coefficients = inverse @ (columns.T @ (found.data[:, number] * weight))
    return found.data[:, number] - found.columns[:, number] @ coefficients, coefficients, inverse


def _sandwich(seen: Observed, point: _Point) -> Matrix:
    """Covariance of the parameters, as wide as the scores of whole half days say it is.

    Source: Huber 1967, White 1982, by clusters (from memory); Student's t in place of the normal
    for the number of half days.
    """
    count = len(point.parameters)
    cluster = (point.bins * seen.step_h // CLUSTER_H).astype(np.int64)
    sums = np.stack([np.bincount(cluster, column) for column in point.scores.T], axis=1)
    sums = sums[np.bincount(cluster) > 0]
    prior = np.zeros((count + 1, count + 1))
    prior[:count, :count] = np.diag(PRIORS[:count, 1] ** -2.0)
    bread = np.linalg.inv(point.information + prior)
    free = max(1, len(sums) - 1)
    spread = (sums.T @ sums) * len(sums) / free + prior
    widened = (1.0 + (CONFIDENCE_Z**2 + 1.0) / (4.0 * free)) ** 2
    covariance: Matrix = widened * (bread @ spread @ bread)[:count, :count]
    return covariance
