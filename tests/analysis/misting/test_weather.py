"""The weather of the days to come: as wide as what comes, within reason where little is known."""

import numpy as np
import pytest
from scipy.signal import lfilter

from monitor.analysis.misting.weather import STRETCH_DAYS, continued

LOGGED = 14
HOURS = 24


def hourly(rng: np.random.Generator, days: int, memory_h: float = 60.0) -> np.ndarray:
    """Weather with that memory, standard deviation 1, as scipy filters white noise into it."""
    keep = float(np.exp(-1.0 / memory_h))
    kicks = rng.standard_normal(HOURS * (days + 30)) * np.sqrt(1.0 - keep * keep)
    return np.asarray(lfilter([1.0], [1.0, -keep], kicks))[-HOURS * days :]


def test_nine_in_ten_weeks_are_where_nine_in_ten_draws_are() -> None:
    """Over 500 stretches of simulated weather, within three standard errors and a little."""
    rng = np.random.default_rng(5)
    held = []
    for _ in range(500):
        daily = hourly(rng, LOGGED + STRETCH_DAYS).reshape(-1, HOURS).mean(axis=1)
        drawn = continued(np.arange(float(LOGGED)), daily[:LOGGED, None], rng, 160)
        low, high = np.quantile(drawn.mean(axis=(1, 2)), [0.05, 0.95])
        held.append(low <= daily[LOGGED:].mean() <= high)

    assert 0.85 <= np.mean(held) <= 0.95


def test_what_moves_together_goes_on_together() -> None:
    """Two quantities, one the mirror of the other, are mirrored in every draw."""
    rng = np.random.default_rng(1)
    daily = hourly(rng, LOGGED).reshape(-1, HOURS).mean(axis=1)

    drawn = continued(np.arange(float(LOGGED)), np.stack([daily, 3.0 - daily], axis=1), rng, 40)

    assert drawn.shape == (40, STRETCH_DAYS, 2)
    assert drawn[:, :, 0] + drawn[:, :, 1] == pytest.approx(3.0, abs=1e-6)


def test_the_last_days_count_most_for_the_next() -> None:
    """After a step on the last day the next day is drawn nearer to it than the seventh."""
    daily = np.r_[np.tile([0.0, 0.2], 6), 2.0][:, None]

    drawn = continued(np.arange(13.0), daily, np.random.default_rng(2), 400).mean(axis=0)[:, 0]

    assert drawn[0] > drawn[3] > drawn[6] > daily.mean()


def test_two_days_are_not_drawn_out_to_absurd_ones() -> None:
    """A degree between two logged days makes no draw that is fifteen degrees off."""
    drawn = continued(np.arange(2.0), np.array([[20.0], [21.0]]), np.random.default_rng(3), 2000)

    assert np.abs(drawn - 20.5).max() < 15.0
