"""Estimates under autocorrelation, against certified values and independent computations."""

from importlib.util import find_spec
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy import linalg, stats
from statsmodels import api

from monitor.analysis.settling import regression
from monitor.analysis.settling.regression import PHI, clipped, estimate

Floats = npt.NDArray[np.float64]


def norris() -> tuple[Floats, Floats]:
    """NIST StRD Norris, in the order of x, from the copy scipy carries for its own tests.

    One x occurs twice; a billionth sets the two apart, as days are.
    """
    package = find_spec("scipy")
    assert package is not None
    assert package.origin is not None
    folder = Path(package.origin).parent / "stats" / "tests" / "data" / "nist_linregress"
    rows = np.loadtxt(folder / "Norris.dat", skiprows=60)
    y, x = rows[np.argsort(rows[:, 1], kind="stable")].T
    return x + 1e-9 * np.arange(len(x)), y


def series(n: int, seed: int) -> tuple[Floats, Floats]:
    """Days with gaps, and a trend in correlated noise."""
    rng = np.random.default_rng(seed)
    day = np.sort(rng.choice(int(1.3 * n), n, replace=False)).astype(float)
    value = 0.03 * day + np.cumsum(rng.standard_normal(n)) * 0.3 + rng.standard_normal(n)
    return day, value


def test_without_correlation_it_is_least_squares(monkeypatch: pytest.MonkeyPatch) -> None:
    """NIST's certified slope and its standard deviation (Norris) come out to nine digits."""
    monkeypatch.setattr(regression, "PHI", np.zeros(1))
    x, y = norris()

    found = estimate(x, y, np.ones((1, len(x))), x[np.newaxis], floor=0.0)

    assert found is not None
    assert found.df == 34
    assert found.value == pytest.approx(1.00211681802045, rel=1e-9)
    assert found.error[0, 0] == pytest.approx(0.429796848199937e-03, rel=1e-9)
    assert found.spread == pytest.approx(0.884796396144373, rel=1e-9)


def test_least_squares_of_sen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The example of Sen 1968 has the least squares slope 4.02135 (data as in scipy's tests)."""
    monkeypatch.setattr(regression, "PHI", np.zeros(1))
    x = np.array([1.0, 2, 3, 4, 10, 12, 18])
    y = np.array([9.0, 15, 19, 20, 45, 55, 78])
    monkeypatch.setattr(regression, "FEWEST_SPARE", 5)

    found = estimate(x, y, np.ones((1, 7)), x[np.newaxis], floor=0.0)

    assert found is not None
    assert found.value == pytest.approx(4.02135, abs=5e-6)
    theirs = stats.linregress(x, y)
    half = theirs.stderr * stats.t.isf(0.025, 5)
    assert found.interval(0.025) == pytest.approx(
        (theirs.slope - half, theirs.slope + half), rel=1e-6
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_each_phi_is_generalised_least_squares(seed: int) -> None:
    """Centre and error equal those from the full covariance matrix, gaps and all (scipy.linalg)."""
    day, value = series(30, seed)
    beside = np.array([np.ones(30), np.random.default_rng(seed).standard_normal(30)])

    found = estimate(day, value, beside, day[np.newaxis], floor=0.0)

    assert found is not None
    design = np.vstack([beside, day]).T
    for row, phi in enumerate(PHI):
        covariance = phi ** np.abs(day[:, np.newaxis] - day)
        root = linalg.cholesky(covariance, lower=True)
        x, y = (linalg.solve_triangular(root, each, lower=True) for each in (design, value))
        fitted, misfit, _, _ = linalg.lstsq(x, y)
        variance = misfit / (30 - 3) * linalg.inv(x.T @ x)[2, 2]
        assert found.centre[row, 0] == pytest.approx(fitted[2], rel=1e-9)
        assert found.error[row, 0] == pytest.approx(np.sqrt(variance), rel=1e-9)


@pytest.mark.parametrize("seed", [4, 5])
def test_weights_are_restricted_likelihoods(seed: int) -> None:
    """They equal the likelihood of error contrasts, the variance integrated out (scipy.linalg)."""
    day, value = series(24, seed)
    design = np.vstack([np.ones(24), day])

    found = estimate(day, value, design[:1], design[1:], floor=0.0)

    assert found is not None
    contrasts = linalg.null_space(design)
    left = contrasts.T @ value
    logs = []
    for phi in PHI:
        covariance = contrasts.T @ (phi ** np.abs(day[:, np.newaxis] - day)) @ contrasts
        logs.append(
            -0.5 * np.linalg.slogdet(covariance)[1]
            - 0.5 * (24 - 2) * np.log(left @ linalg.solve(covariance, left))
        )
    weight = np.exp(np.array(logs) - max(logs))
    assert found.weight[:, 0] == pytest.approx(weight / weight.sum(), rel=1e-7)


def test_statsmodels_agrees_on_the_nile() -> None:
    """Slope and error of a century of the Nile's flow are those of statsmodels' GLS at each phi."""
    nile = api.datasets.nile.load_pandas().data
    year, flow = nile["year"].to_numpy(float), nile["volume"].to_numpy(float)

    found = estimate(year, flow, np.ones((1, 100)), year[np.newaxis], floor=0.0)

    assert found is not None
    for row, phi in enumerate(PHI):
        covariance = phi ** np.abs(year[:, np.newaxis] - year)
        theirs = api.GLS(flow, api.add_constant(year), sigma=covariance).fit()
        assert found.centre[row, 0] == pytest.approx(theirs.params[1], rel=1e-6)
        assert found.error[row, 0] == pytest.approx(theirs.bse[1], rel=1e-6)


@pytest.mark.parametrize("seed", range(20, 28))
def test_the_slope_lies_beside_that_of_sen(seed: int) -> None:
    """Sen's slope (scipy theilslopes) of the same days lies well within our interval."""
    day, value = series(28, seed)

    found = estimate(day, value, np.ones((1, 28)), day[np.newaxis], floor=0.0)

    assert found is not None
    low, high = found.interval(0.01)
    assert stats.theilslopes(value, day).slope == pytest.approx(
        found.value, abs=0.25 * (high - low)
    )


def test_the_nile_falls_as_sen_says() -> None:
    """Sen's slope of the Nile is -2.6 (published with its record in statsmodels; scipy)."""
    nile = api.datasets.nile.load_pandas().data
    year, flow = nile["year"].to_numpy(float), nile["volume"].to_numpy(float)

    found = estimate(year, flow, np.ones((1, 100)), year[np.newaxis], floor=0.0)

    assert found is not None
    low, high = found.interval(0.01)
    assert stats.theilslopes(flow, year).slope == pytest.approx(-2.6)
    assert found.value == pytest.approx(-2.6, abs=0.25 * (high - low))


def test_intervals_and_chances_agree() -> None:
    """What is exceeded with a chance is the end of the interval with that risk, and within it."""
    day, value = series(21, 6)
    found = estimate(day, value, np.ones((1, 21)), day[np.newaxis], floor=0.0)
    assert found is not None

    low, high = found.interval(0.01)

    assert low < found.value < high
    assert found.chance_above(high) == pytest.approx(0.01, abs=1e-6)
    assert found.chance_above(low) == pytest.approx(0.99, abs=1e-6)
    widest = max(abs(low), abs(high))
    assert found.is_within(widest + 1e-4, 0.01)
    assert not found.is_within(widest - 1e-4, 0.01)
    assert not found.is_beyond(widest, 0.01)


def test_columns_that_tell_nothing_new_do_no_harm() -> None:
    """A constant room, or a room told twice, changes neither value nor degrees of freedom."""
    day, value = series(25, 7)
    ones = np.ones((1, 25))
    room = np.random.default_rng(8).standard_normal((1, 25))

    alone, twice = (
        estimate(day, value, np.concatenate([ones, *more]), day[np.newaxis], floor=0.0)
        for more in ([room], [room, room, 20.0 * ones])
    )

    assert alone is not None
    assert twice is not None
    assert twice.df == alone.df == 22
    assert twice.value == pytest.approx(alone.value, rel=1e-9)


def test_a_signal_that_the_columns_hold_already_is_not_estimated() -> None:
    """A room that drifts exactly as days go by leaves nothing to tell of the build."""
    day, value = series(25, 9)

    assert (
        estimate(day, value, np.array([np.ones(25), 2.0 * day + 1.0]), day[np.newaxis], 0.0) is None
    )


def test_too_few_days_are_not_estimated() -> None:
    """Six days must be spare."""
    day, value = series(7, 10)

    assert estimate(day, value, np.ones((1, 7)), day[np.newaxis], floor=0.0) is None


def test_a_constant_series_is_as_uncertain_as_the_sensor() -> None:
    """No scatter at all does not make the slope infinitely certain, nor raise."""
    day = np.arange(21.0)

    found = estimate(day, np.full(21, 99.9), np.ones((1, 21)), day[np.newaxis], floor=0.2)

    assert found is not None
    assert found.value == pytest.approx(0.0, abs=1e-12)
    assert found.spread == pytest.approx(0.2)
    # White noise of 0.2: the error of a slope is sd / sqrt(sum of squared days).
    assert found.error[0, 0] == pytest.approx(0.2 / np.sqrt(np.sum((day - 10.0) ** 2)))


def test_only_the_outlier_is_drawn_in() -> None:
    """Hampel's identifier as published: median 24.15, scaled deviation 0.22239, reach three."""
    value = np.array([24.0, 24.2, 23.9, 24.1, 29.0, 24.0, 24.3])

    drawn = clipped(value, floor=0.01)

    assert drawn[4] == pytest.approx(24.15 + 3 * 0.22239, abs=2e-5)
    assert np.delete(drawn, 4).tolist() == np.delete(value, 4).tolist()


def test_values_that_hardly_move_are_no_outliers() -> None:
    """Where the median deviation is 0, what a sensor resolves keeps a tenth from being drawn in."""
    value = np.array([24.0, 24, 24, 24.1, 24, 24, 24])

    assert clipped(value, floor=0.05).tolist() == value.tolist()
