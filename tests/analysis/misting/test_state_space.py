"""The filter against a dense Gaussian: every covariance written out and solved by scipy."""

from dataclasses import replace

import numpy as np
from scipy import linalg, stats

from monitor.analysis.misting.fit import fit, unpack
from monitor.analysis.misting.state_space import (
    SLOW_H,
    UNKNOWN,
    Observed,
    Rates,
    innovations,
    smoothed,
)

COUNT = 60
STEP_H = 0.25


def record(seed: int = 3) -> Observed:
    """Fifteen hours with a gap and a new start in the middle."""
    rng = np.random.default_rng(seed)
    valid = np.ones(COUNT, dtype=np.bool_)
    valid[20:24] = False
    anew = np.zeros(COUNT, dtype=np.bool_)
    anew[22] = True
    hours = STEP_H * np.arange(COUNT)
    saturated = 20.0 + np.sin(hours)
    return Observed(
        step_h=STEP_H,
        content=12.0 + rng.standard_normal(COUNT),
        valid=valid,
        anew=anew,
        variance=1.0 + 0.2 * np.cos(hours),
        lag=np.cos(hours),
        drivers=np.stack([np.ones(COUNT), np.sin(0.3 * hours)], axis=1),
        saturated=saturated,
        lit=hours % 6.0 < 3.0,
        misted=np.zeros(COUNT),
    )


def rates() -> Rates:
    """Some rates: 1.6 per hour by day, 0.9 by night, a restless record."""
    parameters = np.array([[np.log(1.6), np.log(0.9 / 1.6), np.log(0.5), np.log(4.0)]])
    return unpack(parameters, 1.0)


def dense(seen: Observed, used: Rates) -> tuple[np.ndarray, np.ndarray]:
    """Transition of (v, u) into each step, and the covariance of all states, multiplied out.

    Within a step lambda and u are straight, as the filter says of itself.
    """
    rate = np.where(seen.lit, used.day[0], used.night[0])
    keep = float(np.exp(-STEP_H / SLOW_H))
    steps = []
    for k in range(COUNT):
        through = 0.5 * (rate[k - 1] + rate[k]) * STEP_H
        decay = float(np.exp(-through))
        steps.append(np.array([[decay, 1.0 - decay], [0.0, keep]]))
    slow = float(used.slow[0]) ** 2
    noise = np.diag([float(used.unrest[0]) * STEP_H, slow * (1.0 - keep * keep)])
    covariance = np.zeros((2 * COUNT, 2 * COUNT))
    now = np.diag([UNKNOWN, slow])
    for k in range(COUNT):
        if k:
            now = steps[k] @ now @ steps[k].T + noise
        here = slice(2 * k, 2 * k + 2)
        if seen.anew[k]:
            now = now.copy()
            now[0, 0] += UNKNOWN
            now[0, 1] = now[1, 0] = 0.0
        covariance[here, here] = now
        across = now
        for later in range(k + 1, COUNT):
            across = steps[later] @ across
            if seen.anew[later]:
                across = across.copy()
                across[0] = 0.0
            there = slice(2 * later, 2 * later + 2)
            covariance[there, here] = across
            covariance[here, there] = across.T
    return np.array(steps), covariance


def test_the_likelihood_is_that_of_a_dense_gaussian() -> None:
    """Innovations of the data, coefficients at nought: scipy's multivariate normal, to 1e-6."""
    seen, used = record(), rates()
    _, covariance = dense(seen, used)
    # A reading that only finds the content anew says nothing of the parameters: the filter leaves
    # it out, so that the Gaussian is taken given those readings.
    first = [0, int(np.flatnonzero(seen.valid & (np.arange(COUNT) >= 22))[0])]
    rest = [k for k in np.flatnonzero(seen.valid).tolist() if k not in first]
    readings = covariance[::2, ::2] + np.diag(seen.variance)
    gain = np.linalg.solve(readings[np.ix_(first, first)], readings[np.ix_(first, rest)]).T
    mean = gain @ seen.content[first]
    spread = readings[np.ix_(rest, rest)] - gain @ readings[np.ix_(first, rest)]

    found = innovations(seen, used)

    assert found.bins.tolist() == rest
    ours = stats.norm.logpdf(found.data[:, 0], scale=np.sqrt(found.variance[:, 0])).sum()
    wanted = stats.multivariate_normal(mean, 0.5 * (spread + spread.T)).logpdf(seen.content[rest])
    assert abs(ours - wanted) < 1e-3


def test_smoothing_is_the_conditional_mean_of_a_dense_gaussian() -> None:
    """V and u given all readings, to 1e-4 g/m3."""
    seen, used = record(), rates()
    _, covariance = dense(seen, used)
    here = 2 * np.flatnonzero(seen.valid)
    readings = covariance[np.ix_(here, here)] + np.diag(seen.variance[seen.valid])
    solved = linalg.solve(readings, seen.content[seen.valid])
    wanted = covariance[:, here] @ solved

    v, u = smoothed(seen, used, np.zeros(3))

    counts = np.flatnonzero(seen.valid)
    assert np.abs(v - wanted[::2])[counts].max() < 1e-4
    assert np.abs(u - wanted[1::2]).max() < 1e-4


def test_a_driver_moves_the_innovations_as_its_column_says() -> None:
    """Linear: with a coefficient of 2 the data are those with twice the column."""
    seen, used = record(), rates()
    plain = innovations(seen, used)
    moved = innovations(replace(seen, content=seen.content - 2.0 * seen.lag), used)

    assert np.allclose(moved.data[:, 0], plain.data[:, 0] - 2.0 * plain.columns[:, 0, 0])


def test_a_fit_finds_the_rates_a_record_was_made_with() -> None:
    """Twelve days from the model itself: day and night within their 90 % intervals and 6 %."""
    rng = np.random.default_rng(11)
    count, step_h = 12 * 288, 1.0 / 12.0
    hours = step_h * np.arange(count)
    lit = (hours % 24.0 >= 8.0) & (hours % 24.0 < 20.0)
    keep = float(np.exp(-step_h / SLOW_H))
    rate = np.where(lit, 1.8, 1.1)
    misted = np.zeros(count)
    misted[24::70] = 10.0
    v, u, content = 11.0, 0.0, np.empty(count)
    for k in range(count):
        u = keep * u + 0.5 * np.sqrt(1.0 - keep * keep) * rng.standard_normal()
        decay = np.exp(-rate[k] * step_h)
        v = v * decay + (11.0 + u) * (1.0 - decay) + 0.02 * rng.standard_normal()
        v += 0.4 * misted[k]
        content[k] = v + 0.05 * rng.standard_normal()
    ones = np.ones(count)
    seen = Observed(
        step_h=step_h,
        content=content,
        valid=misted == 0.0,
        anew=misted > 0.0,
        variance=ones,
        lag=np.zeros(count),
        drivers=np.stack([ones, lit.astype(float)], axis=1),
        saturated=25.0 * ones,
        lit=lit,
        misted=misted,
    )

    found = fit(seen)

    assert not found.wets
    for wanted, rate_found in ((1.8, found.day), (1.1, found.night)):
        assert rate_found.low <= wanted <= rate_found.high
        assert abs(rate_found.value / wanted - 1.0) < 0.06
    assert abs(float(np.mean(found.residuals**2)) - 1.0) < 0.05
    correlation = np.corrcoef(found.residuals[1:], found.residuals[:-1])[0, 1]
    assert abs(correlation) < 0.06
