"""The even grid, the same hour of earlier days, and medians."""

import warnings
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.analysis.causes import History
from monitor.analysis.courses import log_vapour_pressures, median, on_grid, same_hour_shifts
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339
from tests.analysis.records import saturated

FIVE = 5 * MINUTE_MS


def test_bins_hold_means_and_end_now() -> None:
    """A bin is the mean of the readings in (end - width, end], and the last one ends now."""
    at_ms = np.array([1, 2, 6, 7, 10, 11]) * MINUTE_MS
    column = on_grid(at_ms, np.array([1.0, 3.0, 10.0, 20.0, 30.0, 99.0]), 10 * MINUTE_MS, FIVE, 2)

    assert column.tolist() == [2.0, 20.0]


def test_what_comes_after_now_is_not_looked_at() -> None:
    """Readings from the future change nothing."""
    at_ms = np.arange(0, 200) * MINUTE_MS
    values = np.sin(at_ms / 1e6)
    now_ms = 120 * MINUTE_MS
    later = np.where(at_ms > now_ms, 1e9, values)

    assert np.array_equal(
        on_grid(at_ms, values, now_ms, FIVE, 30), on_grid(at_ms, later, now_ms, FIVE, 30), True
    )


def test_short_gaps_are_bridged_and_long_ones_are_not() -> None:
    """Twenty minutes without readings are a straight line, an hour is unknown."""
    at_ms = np.array([0, 25, 90, 95]) * MINUTE_MS
    column = on_grid(at_ms, np.array([0.0, 5.0, 18.0, 19.0]), 95 * MINUTE_MS, FIVE, 20)

    assert np.allclose(column[:6], [0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
    assert np.isnan(column[6:18]).all()
    assert column[18:].tolist() == [18.0, 19.0]


def test_the_last_value_stands_for_half_an_hour() -> None:
    """A slow probe still has a present; one that is silent for longer has none."""
    at_ms = np.array([0]) * MINUTE_MS
    values = np.array([50.0])

    assert on_grid(at_ms, values, 30 * MINUTE_MS, FIVE, 12)[-1] == 50.0
    assert np.isnan(on_grid(at_ms, values, 35 * MINUTE_MS, FIVE, 12)[-1])


def test_nothing_known_is_nan_throughout() -> None:
    """Neither an empty record nor one of NaN raises."""
    assert np.isnan(on_grid(np.empty(0, np.int64), np.empty(0), 0, FIVE, 4)).all()
    assert np.isnan(on_grid(np.array([1]), np.array([np.nan]), 10, FIVE, 4)).all()


@pytest.mark.parametrize(
    ("now", "first", "seventh"),
    [
        # IANA time zone database: Lisbon moves to summer time on 29 March 2026 at 01:00 UTC ...
        ("2026-03-29T12:00:00Z", 23, 7 * 24 - 1),
        ("2026-03-31T12:00:00Z", 24, 7 * 24 - 1),
        # ... and back on 25 October 2026.
        ("2026-10-25T12:00:00Z", 25, 7 * 24 + 1),
        ("2026-06-15T12:00:00Z", 24, 7 * 24),
    ],
)
def test_the_same_hour_follows_the_wall_clock(now: str, first: int, seventh: int) -> None:
    """Lights and mistings go by the wall clock, so the same hour does too, when it is set."""
    shifts = same_hour_shifts(parse_rfc3339(now), ZoneInfo("Europe/Lisbon"), 7)

    assert shifts[0] == first * HOUR_MS
    assert shifts[6] == seventh * HOUR_MS


def test_median_is_that_of_numpy_without_nan() -> None:
    """Column medians with gaps agree with numpy.nanmedian; an empty column gives NaN silently."""
    rows = np.random.default_rng(1).normal(size=(7, 200))
    rows[np.random.default_rng(2).random(rows.shape) < 0.4] = np.nan
    rows[:, 5] = np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        expected = np.nanmedian(rows, axis=0)

    assert np.allclose(median(rows), expected, rtol=0, atol=1e-15, equal_nan=True)


def test_the_logarithms_add_up_to_humidity() -> None:
    """They differ by ln RH, and e_s is that of PsychroLib within 0.03 %, as references differ."""
    temperature, humidity = np.array([5.0, 20.0, 33.0]), np.array([20.0, 60.0, 100.0])
    vapour, saturation = log_vapour_pressures(temperature, humidity)

    assert np.allclose(np.exp(vapour - saturation) * 100.0, humidity, rtol=1e-12)
    assert np.allclose(np.exp(saturation), saturated(temperature), rtol=3e-4)


def test_a_history_is_cut_by_time() -> None:
    """``between`` takes what lies after the start, up to and with the end."""
    at_ms = np.arange(5) * DAY_MS
    part = History(at_ms, np.arange(5.0), 2.0 * np.arange(5.0)).between(DAY_MS, 3 * DAY_MS)

    assert part.at_ms.tolist() == [2 * DAY_MS, 3 * DAY_MS]
    assert part.humidity.tolist() == [4.0, 6.0]


def test_a_history_with_ragged_columns_is_refused() -> None:
    """Columns of different length would be silently mixed up."""
    with pytest.raises(ValueError, match="equally long"):
        History(np.arange(3), np.zeros(3), np.zeros(2))
