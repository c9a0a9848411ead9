"""The criterion of recovery: what a misting adds to the air leaves it again.

It is followed in the vapour pressure, which warming alone does not change.
"""

import numpy as np

from monitor.analysis.settling.build import Floats, Ints
from monitor.analysis.settling.climate import Climate
from monitor.analysis.settling.criteria import Criterion, Name, Result
from monitor.analysis.settling.days import BIN_MS
from monitor.analysis.settling.moisture import BIN_H
from monitor.analysis.settling.wording import count
from monitor.quantities import Quantity
from monitor.species.settling import SettlingLimits

RECENT_DAYS = 14
FEWEST = 3
"""Mistings that could be followed, without which nothing is said."""

JOINED_BINS = 3
"""Mistings this close together count as one."""
BEFORE_BINS = 3
PEAK_BINS = 6
LEAST_RISE_KPA = 0.04
"""A smaller rise cannot be followed: some 1.3 %RH at 24 Cel."""


def recovery(climate: Climate, mistings_ms: Ints, limits: SettlingLimits) -> Criterion | None:
    """Whether half of what recent mistings added has left the air in time.

    None where too few could be followed: no mister, or air too wet to take more up.
    """
    days = climate.days
    start = int(np.searchsorted(days.day, len(days) - RECENT_DAYS))
    bins = (mistings_ms - days.edge_ms[0]) // BIN_MS
    bins = bins[(bins >= start) & (bins < len(days.day))]
    hours = half_times(climate.bins[Quantity.VAPOUR_PRESSURE], bins, limits.recovery_h)
    if len(hours) < FEWEST:
        return None
    middle = float(np.median(hours))
    return Criterion(
        name=Name.RECOVERY,
        zone=climate.zone,
        quantity=Quantity.VAPOUR_PRESSURE,
        value=middle,
        unit="h",
        required=f"half of a misting gone within {limits.recovery_h:g} h",
        result=Result.PASS if middle <= limits.recovery_h else Result.FAIL,
        says=(
            f"{climate.zone}: half of what a misting adds to the air is gone after {middle:.1f} h, "
            f"the median of {count(len(hours), 'misting')} in {RECENT_DAYS} days."
        ),
    )


def half_times(vapour_pressure: Floats, misted: Ints, longest_h: float) -> list[float]:
    """Hours from each misting's peak until half of its rise is gone.

    Args:
        vapour_pressure: by bin, kPa.
        misted: the bins in which it was misted, in order.
        longest_h: a misting that was followed for longer without coming down counts as it stands;
            one that was followed for less, because the next came, tells nothing and is left out.
    """
    starts = misted[np.diff(misted, prepend=-JOINED_BINS - 1) > JOINED_BINS]
    ends = np.append(starts[1:], len(vapour_pressure))[: len(starts)]
    hours = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        before = vapour_pressure[max(0, start - BEFORE_BINS) : start]
        after = vapour_pressure[start:end]
        rising = after[:PEAK_BINS]
        if not len(before) or np.isnan(before).any() or np.isnan(rising).any():
            continue
        peak = int(np.argmax(rising))
        base = float(before.mean())
        rise = float(rising[peak]) - base
        if rise < LEAST_RISE_KPA:
            continue
        down = np.flatnonzero(after[peak:] <= base + 0.5 * rise)
        passed = float(down[0] if len(down) else len(after) - peak) * BIN_H
        if len(down) or passed > longest_h:
            hours.append(passed)
    return hours
