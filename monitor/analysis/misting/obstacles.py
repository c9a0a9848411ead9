"""When a record cannot be assessed at all, and what to log so that it can."""

from collections.abc import Sequence

import numpy as np

from monitor.analysis.misting.climate import Climate, Grid
from monitor.analysis.misting.mistings import Merged, Misting
from monitor.analysis.misting.state_space import Observed
from monitor.times import DAY_MS, MINUTE_MS

FEWEST_DAYS = 3.0
FEWEST_DECAYS = 6
DECAY_BINS_H = 0.5
"""Measured, unsaturated air after a misting that makes its decay usable, hours."""
DECAY_WITHIN_H = 2.0
STUCK_SHARE = 0.5
"""Of the readings that say exactly the same."""
PINNED_RH = 99.0
PINNED_SHARE = 0.6
LEAST_OPEN = 0.2
"""Share of the bins that must be unsaturated."""


def unreadable(climate: Climate, start_ms: int, end_ms: int) -> str | None:
    """Why a probe's record says nothing of the air, None if it does."""
    if not len(climate):
        return "there are no readings of temperature and humidity in this time"
    hours = len(np.unique((climate.at_ms - start_ms) // (60 * MINUTE_MS)))
    days = hours / 24.0
    if days < FEWEST_DAYS:
        return (
            f"there are {days:.1f} days of readings in the last "
            f"{(end_ms - start_ms) / DAY_MS:.0f}; it takes {FEWEST_DAYS:g} at least"
        )
    pinned = float(np.mean(climate.humidity >= PINNED_RH))
    if pinned >= PINNED_SHARE:
        return (
            f"the probe reads {PINNED_RH:g} %RH or more {pinned:.0%} of the time: it is wet or "
            "stuck, or the air never dries; dry the probe, place it away from the mist, or "
            "ventilate"
        )
    values, counts = np.unique(climate.humidity, return_counts=True)
    most = int(np.argmax(counts))
    if counts[most] >= STUCK_SHARE * len(climate):
        return (
            f"the probe says exactly {values[most]:g} %RH in {counts[most] / len(climate):.0%} of "
            "its readings: it is stuck; check or replace it"
        )
    return None


def unmisted(merged: Merged) -> str | None:
    """Why the mistings cannot be made use of, None if they can."""
    if merged.shift_ms is not None:
        minutes = merged.shift_ms / MINUTE_MS
        way = "late" if minutes > 0 else "early"
        return (
            f"mistings are reported about {abs(minutes):.0f} min {way} against the rises in the "
            "air: a clock is off; set it right, or correct the entries"
        )
    if not merged.mistings:
        return (
            "no misting was reported, and none shows in the air; log mistings with their seconds, "
            "or let the mister report"
        )
    return None


def undecayed(grid: Grid, seen: Observed, mistings: Sequence[Misting]) -> str | None:
    """Why no drying can be seen after the mistings, None if it can."""
    measured = np.isfinite(grid.content)
    open_share = float(seen.valid.sum() / max(1, measured.sum()))
    if open_share < LEAST_OPEN:
        return (
            f"the air is saturated, or just misted, {1.0 - open_share:.0%} of the time: there is "
            "no drying to be seen; mist less for some days, or ventilate"
        )
    by_day, by_night = decays(grid, seen, mistings)
    if by_day + by_night < FEWEST_DECAYS:
        return (
            f"only {by_day + by_night} of {len(mistings)} mistings were followed by half an hour "
            f"of readings below saturation; it takes {FEWEST_DECAYS}: keep the probe reporting, "
            "and leave more time between mistings"
        )
    return None


def decays(grid: Grid, seen: Observed, mistings: Sequence[Misting]) -> tuple[int, int]:
    """Mistings after which the air was seen to dry: by day and by night."""
    within, enough = (round(hours / seen.step_h) for hours in (DECAY_WITHIN_H, DECAY_BINS_H))
    bins = sorted(grid.bin_of(misting.at_ms) for misting in mistings)
    counts = [0, 0]
    for at, following in zip(bins, [*bins[1:], len(seen)], strict=True):
        if not 0 <= at < len(seen):
            continue
        span = slice(at, min(at + within, following, len(seen)))
        for phase, lit in enumerate((True, False)):
            if np.sum(seen.valid[span] & (seen.lit[span] == lit)) >= enough:
                counts[phase] += 1
    return counts[0], counts[1]
