"""How far a probe departs from its usual course, in ln of vapour and saturation pressure."""

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from monitor.analysis.causes.evidence import Evidence, Side
from monitor.analysis.courses import (
    Column,
    History,
    log_vapour_pressures,
    median,
    on_grid,
    same_hour_shifts,
)
from monitor.times import HOUR_MS, MINUTE_MS

BIN_MS = 5 * MINUTE_MS
PER_HOUR = HOUR_MS // BIN_MS
RECENT = 2
"""Bins that count as now: ten minutes, to quieten a probe's noise."""
SPAN = 24 * PER_HOUR
RUN_UP = 6 * PER_HOUR
DAYS = 7
"""Earlier days looked at."""
FEWEST_DAYS = 1
"""With fewer the run-up is the reference; even one earlier day is far better (docs/causes.md)."""

Rows = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Departure:
    """ln e and ln e_s less what is usual over the last day: oldest bin first, newest last.

    ``past_*`` are the departures of earlier days from the same usual course, a row each. ``days``
    is how many of them were compared with; 0: the reference is the start of the run-up.
    """

    vapour: Column
    saturation: Column
    past_vapour: Rows
    past_saturation: Rows
    days: int

    @classmethod
    def of(cls, history: History, evidence: Evidence) -> Self:
        """Lay out a probe's record and compare it with its own earlier days."""
        now_ms = evidence.now_ms
        shifts = [shift // BIN_MS for shift in same_hour_shifts(now_ms, evidence.clock, DAYS)]
        bins = shifts[-1] + SPAN
        vapour, saturation = log_vapour_pressures(
            on_grid(history.at_ms, history.temperature, now_ms, BIN_MS, bins),
            on_grid(history.at_ms, history.humidity, now_ms, BIN_MS, bins),
        )
        ends_ms = now_ms + BIN_MS * np.arange(1 - bins, 1)
        untroubled = (ends_ms < evidence.since_ms) & np.isfinite(vapour)
        rows = [slice(bins - shift - SPAN, bins - shift) for shift in shifts]
        past_vapour, past_saturation = (
            np.array([np.where(untroubled[row], column[row], np.nan) for row in rows])
            for column in (vapour, saturation)
        )
        days = int(np.isfinite(past_vapour[:, -RECENT:]).all(axis=1).sum())
        if days >= FEWEST_DAYS:
            usual_vapour, usual_saturation = median(past_vapour), median(past_saturation)
        else:
            days = 0
            begins = int(np.searchsorted(ends_ms, run_up_start(evidence)))
            usual_vapour = np.full(SPAN, vapour[begins])
            usual_saturation = np.full(SPAN, saturation[begins])
        return cls(
            vapour[-SPAN:] - usual_vapour,
            saturation[-SPAN:] - usual_saturation,
            past_vapour - usual_vapour,
            past_saturation - usual_saturation,
            days,
        )


def now(column: Column) -> float:
    """The newest value of a column: its mean over the last ten minutes, NaN if unknown."""
    return float(np.mean(column[-RECENT:]))


def run_up_start(evidence: Evidence) -> int:
    """When the way to the limit began: the farthest from it in the six hours before (epoch ms)."""
    target = evidence.target
    humidity = on_grid(target.at_ms, target.humidity, evidence.since_ms, BIN_MS, RUN_UP)
    if not np.isfinite(humidity).any():
        return evidence.since_ms
    best = np.nanargmax(humidity) if evidence.side is Side.LOW else np.nanargmin(humidity)
    return evidence.since_ms - (RUN_UP - 1 - int(best)) * BIN_MS
