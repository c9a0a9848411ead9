"""From even means and mistings to what the filter takes: masks, new starts, drivers."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from monitor.analysis.misting.climate import Column, Flags, Grid
from monitor.analysis.misting.detection import Rise
from monitor.analysis.misting.mistings import Misting
from monitor.analysis.misting.state_space import Observed

SATURATED_RH = 97.0
"""%RH from which a probe cannot be trusted to follow the air."""
SETTLE_S = 360.0
"""After a misting: how long the air mixes and an ordinary probe catches up."""
LID_S = 900.0
"""After a sudden loss: how long a lid may have been open."""
SWITCH_S = 1200.0
"""After the lights were switched: leaves, glass and ground are between two states."""
LONG_GAP_S = 3600.0
"""Without readings for that long, the content has to be found anew."""
GROUND_H = (1.0, 4.0)
"""By how much wet surfaces and wet ground follow the air's temperature late, hours."""


def filled(column: Column) -> Column:
    """The column with straight lines over its gaps."""
    known = np.flatnonzero(np.isfinite(column))
    return np.interp(np.arange(len(column)), known, column[known])


def lagged(column: Column, lag_h: float, step_h: float) -> Column:
    """First-order lag behind a column, begun at the mean of its first half day."""
    keep = float(np.exp(-step_h / lag_h))
    now = float(column[: max(1, round(12.0 / step_h))].mean())
    result = np.empty_like(column)
    for k, value in enumerate(column.tolist()):
        now = keep * now + (1.0 - keep) * value
        result[k] = now
    return result


def observe(
    grid: Grid,
    mistings: Sequence[Misting],
    losses: Sequence[Rise],
    settle_s: float = SETTLE_S,
) -> Observed:
    """What the filter takes.

    Args:
        grid: even means of the record; at least one bin must have readings.
        mistings: all of them with ``seconds``.
        losses: sudden losses of vapour (lids opened), after which the air starts anew.
        settle_s: how long after a misting nothing is read.
    """
    count, step_h = len(grid), grid.step_s / 3600.0
    measured = np.isfinite(grid.content)
    wet = measured & (grid.highest_humidity >= SATURATED_RH)
    valid = measured & ~wet
    anew = np.zeros(count, dtype=np.bool_)
    anew[1:] = wet[:-1]
    anew |= _after_gaps(measured, round(LONG_GAP_S / grid.step_s))
    misted = np.zeros(count)
    disturbed = [(loss.at_ms, LID_S) for loss in losses]
    disturbed += [
        (grid.start_ms + grid.step_ms * switched, grid.step_s + SWITCH_S)
        for switched in np.flatnonzero(np.diff(grid.lit.astype(np.int8))).tolist()
    ]
    for misting in mistings:
        seconds = misting.seconds or 0.0
        disturbed.append((misting.at_ms, seconds + settle_s))
        if 0 <= grid.bin_of(misting.at_ms) < count:
            misted[grid.bin_of(misting.at_ms)] += seconds
    for at_ms, lasts_s in disturbed:
        first, last = grid.bin_of(at_ms), grid.bin_of(at_ms + round(1000 * lasts_s))
        if last >= 0 and first < count:
            during = slice(max(0, first), last + 1)
            valid[during] = False
            anew[during] = True

    content, saturated = filled(grid.content), filled(grid.saturated)
    mean = saturated.mean()
    warmth = saturated - mean
    room = [] if grid.room is None else [grid.room - grid.room.mean()]
    drivers = [
        np.ones(count),
        grid.lit.astype(np.float64),
        warmth,
        *(lagged(saturated, lag_h, step_h) - mean for lag_h in GROUND_H),
        *room,
        # Leaves drink by light, and vents draw otherwise when it is warm.
        *(grid.lit * driver for driver in (warmth, *room)),
    ]
    return Observed(
        step_h=step_h,
        content=content,
        valid=valid,
        anew=anew,
        variance=(saturated / mean) ** 2,
        lag=content * np.gradient(np.log(saturated), step_h),
        drivers=np.stack(drivers, axis=1),
        saturated=saturated,
        lit=grid.lit,
        misted=misted,
    )


def part(seen: Observed, first: int, beyond: int) -> Observed:
    """Some consecutive bins of what was observed."""
    span = slice(first, beyond)
    return replace(
        seen,
        content=seen.content[span],
        valid=seen.valid[span],
        anew=seen.anew[span],
        variance=seen.variance[span],
        lag=seen.lag[span],
        drivers=seen.drivers[span],
        saturated=seen.saturated[span],
        lit=seen.lit[span],
        misted=seen.misted[span],
    )


def _after_gaps(measured: Flags, longest: int) -> Flags:
    """Bins that follow a gap longer than so many bins."""
    where = np.flatnonzero(measured)
    after = np.zeros(len(measured), dtype=np.bool_)
    after[where[1:][np.diff(where) > longest]] = True
    return after
