"""Reading off a record when a limit was crossed."""

import numpy as np
import pytest

from monitor.simulation import first_below

MINUTES = 60_000 * np.arange(10)


@pytest.mark.parametrize(
    ("values", "limit", "hold_s", "minute"),
    [
        ([9, 9, 4, 9, 9, 4, 4, 4, 9, 9], 5.0, 0.0, 2),
        ([9, 9, 4, 9, 9, 4, 4, 4, 9, 9], 5.0, 120.0, 5),
        ([9, 9, 4, 9, 9, 4, 4, 4, 9, 9], 5.0, 180.0, None),
        ([4, 4, 9, 9, 9, 9, 9, 9, 9, 9], 5.0, 60.0, 0),
        ([9, 9, 9, 9, 9, 9, 9, 9, 4, 4], 5.0, 60.0, 8),
        ([5, 5, 5, 5, 5, 5, 5, 5, 5, 5], 5.0, 0.0, None),
        ([4, 4, 4, 4, 4, 4, 4, 4, 4, 4], [3.0] * 6 + [5.0] * 4, 0.0, 6),
    ],
)
def test_first_below_finds_the_run_that_lasts(
    values: list[float], limit: float | list[float], hold_s: float, minute: int | None
) -> None:
    """The start of the first run below the limit that is long enough; equal is not below."""
    bound = np.array(limit) if isinstance(limit, list) else limit
    found = first_below(MINUTES, np.array(values, dtype=float), bound, hold_s)
    assert found == (None if minute is None else minute * 60_000)


def test_nothing_is_never_below() -> None:
    """An empty record crosses nothing."""
    assert first_below(np.empty(0, np.int64), np.empty(0), 5.0) is None
