"""What is customary about this hour: whether the limit is often crossed, and when it is misted."""

from dataclasses import dataclass

import numpy as np

from monitor.analysis.causes.departure import BIN_MS, DAYS
from monitor.analysis.causes.evidence import Evidence, Side
from monitor.analysis.courses import Times, on_grid, same_hour_shifts
from monitor.times import HOUR_MS, MINUTE_MS

AROUND_MS = 2 * HOUR_MS
"""Before and after the same hour: as far as lights, mistings and chores move from day to day."""
FRESH_MS = 12 * HOUR_MS
"""Mistings that were due longer ago than this explain little."""
SAME_MISTING_MS = 15 * MINUTE_MS
OFTEN = 1 / 3
"""Share of days, and at least two of them, that make a crossing usual."""


@dataclass(frozen=True, slots=True)
class Custom:
    """On how many of the earlier days known the limit was crossed about this hour."""

    days: int
    crossed: int

    @property
    def often(self) -> bool:
        """Whether being beyond the limit at this hour is nothing new."""
        return self.crossed >= max(2, OFTEN * self.days)


def custom(evidence: Evidence) -> Custom:
    """Look around the same hour of earlier days, as they were before the alarm."""
    now_ms = evidence.now_ms
    shifts = same_hour_shifts(now_ms, evidence.clock, DAYS)
    bins = (shifts[-1] + AROUND_MS) // BIN_MS
    target = evidence.target
    humidity = on_grid(target.at_ms, target.humidity, now_ms, BIN_MS, bins)
    around = AROUND_MS // BIN_MS
    days = crossed = 0
    for shift in shifts:
        centre = bins - shift // BIN_MS
        if now_ms - shift + AROUND_MS >= evidence.since_ms:
            continue
        hours = humidity[max(0, centre - around) : centre + around]
        hours = hours[np.isfinite(hours)]
        if len(hours) < around:
            continue
        days += 1
        low = evidence.side is Side.LOW
        crossed += bool(hours.min() < evidence.limit if low else hours.max() > evidence.limit)
    return Custom(days, crossed)


def missed_mistings(evidence: Evidence) -> int | None:
    """How many mistings of the last half day that most earlier days had did not come.

    None if the mister reports nothing, or there is no earlier day.
    """
    if evidence.misted_ms is None:
        return None
    starts = np.array(sorted(evidence.misted_ms), dtype=np.int64)
    shifts = same_hour_shifts(evidence.now_ms, evidence.clock, DAYS)
    begins = int(starts[0]) if len(starts) else evidence.now_ms
    days = []
    for shift in shifts:
        end_ms = evidence.now_ms - shift
        if end_ms < evidence.since_ms and end_ms - FRESH_MS >= begins - SAME_MISTING_MS:
            days.append(starts[(starts > end_ms - FRESH_MS) & (starts <= end_ms)] + shift)
    if not days:
        return None

    def came(when_ms: int, mistings: Times) -> bool:
        return bool(np.any(np.abs(mistings - when_ms) <= SAME_MISTING_MS))

    due_ms: list[int] = []
    for misting in sorted(int(start) for day in days for start in day):
        overdue = misting + SAME_MISTING_MS <= evidence.now_ms
        usual = sum(came(misting, day) for day in days) > len(days) / 2
        if overdue and usual and (not due_ms or misting - due_ms[-1] > SAME_MISTING_MS):
            due_ms.append(misting)
    return sum(not came(due, starts) for due in due_ms)
