"""First-order lags and random courses."""

import numpy as np
import pytest
from scipy.signal import lfilter

from monitor.simulation.courses import Wander, follow


def test_follow_is_the_first_order_filter() -> None:
    """Lagging random targets equals scipy's recursive filter."""
    targets = np.random.default_rng(1).normal(size=500)
    keep = np.exp(-60 / 900)
    other, _ = lfilter([1 - keep], [1, -keep], targets, zi=[keep * 3.0])
    assert follow(targets, 3.0, 900.0, 60.0) == pytest.approx(other, rel=1e-12)


def test_follow_covers_63_percent_in_a_time_constant() -> None:
    """After one time constant 1 - 1/e of a step is done."""
    assert follow(np.ones(20), 0.0, 1200.0, 60.0)[-1] == pytest.approx(1 - np.exp(-1))


def test_no_time_constant_is_no_lag() -> None:
    """With a time constant of zero the course is its targets."""
    assert follow(np.array([1.0, 5.0, 2.0]), 9.0, 0.0, 60.0).tolist() == [1.0, 5.0, 2.0]


def test_wander_has_its_spread_and_memory() -> None:
    """Mean 0, standard deviation 1, and a correlation of 1/e after the memory time."""
    values = Wander(np.random.default_rng(2), 600.0, 60.0).advance(200_000)
    assert values.mean() == pytest.approx(0.0, abs=0.05)
    assert values.std() == pytest.approx(1.0, abs=0.02)
    assert np.corrcoef(values[:-10], values[10:])[0, 1] == pytest.approx(np.exp(-1), abs=0.02)


def test_wander_goes_on_where_it_stopped() -> None:
    """Cutting time into pieces changes nothing."""
    whole = Wander(np.random.default_rng(3), 600.0, 60.0).advance(50)
    pieces = Wander(np.random.default_rng(3), 600.0, 60.0)
    assert np.concatenate([pieces.advance(n) for n in (1, 0, 30, 19)]).tolist() == whole.tolist()
