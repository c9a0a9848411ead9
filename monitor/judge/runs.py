"""Values that stand still: a sensor that hangs repeats itself."""

from typing import Any

import numpy as np
import numpy.typing as npt

from monitor.judge.steps import Mask
from monitor.store.readings import Floats, Ints


def flat_lines(
    at_ms: Ints,
    value: Floats,
    flat_after_ms: Ints,
    flat_below: Floats,
    starts: Ints,
    past: npt.NDArray[Any],
    flat_readings: int,
) -> Mask:
    """Which readings belong to a run of the same value that is too long to be true.

    Sorted and grouped as for ``impossible_steps``; the ``run_*`` columns of ``past`` are brought up
    to date. A run is too long once it spans ``flat_after_ms`` with ``flat_readings`` readings, at a
    value below ``flat_below``.
    """
    before = np.empty_like(value)
    before[1:] = value[:-1]
    before[starts] = past["run_value"]
    moved = value != before  # true where there was none before: NaN

    # Each run is counted from its first reading in this batch, which may continue an older run.
    since_ms = at_ms.copy()
    length = np.ones(len(value), np.int64)
    carried = ~moved[starts]
    since_ms[starts[carried]] = past["run_since_ms"][carried]
    length[starts[carried]] += past["run_length"][carried]
    heads = moved
    heads[starts] = True
    places = np.arange(len(value))
    head = np.maximum.accumulate(np.where(heads, places, 0))
    since_ms = since_ms[head]
    length = length[head] + (places - head)

    last = np.append(starts[1:], len(value)) - 1
    past["run_value"] = value[last]
    past["run_since_ms"] = since_ms[last]
    past["run_length"] = length[last]
    return (at_ms - since_ms >= flat_after_ms) & (length >= flat_readings) & (value < flat_below)
