"""Widths, and readings that become buckets."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.store.buckets import WIDTHS_S, Tally, bucketed, raw, widened, width_for
from monitor.store.readings import Track
from monitor.times import DAY_MS, HOUR_MS, SECOND_MS


def test_widths_nest_in_the_hour_or_are_whole_hours() -> None:
    """Each width divides the hour or is a multiple of it: so hourly sums make every wider bucket.

    They ascend, or the first that fits would not be the narrowest.
    """
    assert sorted(set(WIDTHS_S)) == list(WIDTHS_S)
    assert all(3600 % width == 0 or width % 3600 == 0 for width in WIDTHS_S)


@pytest.mark.parametrize(
    ("span_ms", "points", "width_s"),
    [
        (DAY_MS, 1500, 60),
        (30 * DAY_MS, 1500, 1800),
        (365 * DAY_MS, 1500, 6 * 3600),
        (HOUR_MS, 3600, 1),
        (1, 1, 1),
        (10 * 365 * DAY_MS, 50, 112 * 86_400),
    ],
)
def test_the_narrowest_width_that_fits_is_taken(span_ms: int, points: int, width_s: int) -> None:
    """Spans from whole multiples: the width is the next on the ladder, doubled beyond its end."""
    assert width_for(0, span_ms, points) == width_s


@given(
    start_ms=st.integers(0, 2**42),
    span_ms=st.integers(0, 2**42),
    points=st.integers(1, 5000),
    at_least_s=st.sampled_from((1, 3600)),
)
def test_no_span_needs_more_buckets_than_points(
    start_ms: int, span_ms: int, points: int, at_least_s: int
) -> None:
    """However the span lies on the grid, its whole buckets are no more than were asked for."""
    width_s = width_for(start_ms, start_ms + span_ms, points, at_least_s)

    first_ms, last_ms = widened(start_ms, start_ms + span_ms, width_s)

    assert (last_ms - first_ms) // (width_s * SECOND_MS) <= points
    assert first_ms <= start_ms <= start_ms + span_ms <= last_ms
    assert width_s >= at_least_s


def test_bad_readings_are_left_out() -> None:
    """Neither raw nor in buckets."""
    track = Track(
        np.array([0, 500, 1000]), np.array([1.0, 99.0, 3.0]), np.array([0, 16, 1], np.uint8)
    )

    assert raw(track).mean.tolist() == [1.0, 3.0]
    assert bucketed(track, 2).mean.tolist() == [2.0]
    assert bucketed(track, 2).count.tolist() == [2]


def test_tallies_join() -> None:
    """Slots that several tallies share are added up, wherever they stand."""
    one = Tally.of(np.array([1, 1, 3]), np.array([1.0, 2.0, 5.0]))
    other = Tally.of(np.array([0, 1]), np.array([7.0, -4.0]))

    joined = Tally.joined([one, other])

    assert joined.slot.tolist() == [0, 1, 3]
    assert joined.count.tolist() == [1, 3, 1]
    assert joined.total.tolist() == [7.0, -1.0, 5.0]
    assert joined.low.tolist() == [7.0, -4.0, 5.0]
    assert joined.high.tolist() == [7.0, 2.0, 5.0]


def test_a_part_of_a_track() -> None:
    """From the start on, up to and without the end."""
    track = Track(np.array([0, 10, 20]), np.array([1.0, 2.0, 3.0]), np.array([0, 16, 1], np.uint8))

    part = track.between(10, 20)

    assert (part.at_ms.tolist(), part.value.tolist(), part.reason.tolist()) == ([10], [2.0], [16])
    assert len(track.between(21, 99)) == 0


def test_a_span_across_1970_has_a_width() -> None:
    """Buckets begin at whole multiples since 1970, so no width covers both sides in one."""
    assert width_for(-5_000, 5_000, 1) == 5
    assert width_for(-10_000, -5_000, 1) == 1
