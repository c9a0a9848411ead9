"""The days of a record as days to come: what drives the air when the misting is another one.

A schedule is tried on every whole day that was logged: with that day's temperature, and with the
content its air went to by itself. Their differences are what the weather of the room may do.
"""

import datetime as dt
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np

from monitor.analysis.misting.balance import Array
from monitor.analysis.misting.climate import Column, Flags, Grid
from monitor.times import DAY_MS, HOUR_MS

LEAST_MEASURED = 0.7
"""Share of a day's bins that must have readings."""
DRIEST = 0.02
"""No air goes to less than this share of saturation."""


@dataclass(frozen=True, slots=True, eq=False)
class Days:
    """Whole local days, oldest first: one row a day, one column a step from midnight.

    ``temperature`` (Cel), ``saturated`` and ``asymptote`` (g/m3) may have an axis before those, one
    entry for each of several ways the days may come.
    """

    step_h: float
    start_ms: tuple[int, ...]
    temperature: Array
    saturated: Array
    asymptote: Array
    lit: Flags
    per_kpa: float
    """g/m3 of content for each kPa."""

    def __len__(self) -> int:
        return len(self.start_ms)

    @property
    def steps(self) -> int:
        """In a day."""
        return int(self.lit.shape[1])

    def coarser(self, factor: int) -> "Days":
        """The same in steps that are so many times as long."""

        def mean(rows: Array) -> Array:
            means: Array = rows.reshape(len(rows), -1, factor).mean(axis=2)
            return means

        return replace(
            self,
            step_h=self.step_h * factor,
            temperature=mean(self.temperature),
            saturated=mean(self.saturated),
            asymptote=mean(self.asymptote),
            lit=self.lit[:, ::factor],
        )

    def some(self, count: int) -> "Days":
        """At most so many of them, evenly spread."""
        if len(self) <= count:
            return self
        chosen = np.linspace(0, len(self) - 1, count).round().astype(int)
        return replace(
            self,
            start_ms=tuple(self.start_ms[i] for i in chosen),
            temperature=self.temperature[chosen],
            saturated=self.saturated[chosen],
            asymptote=self.asymptote[chosen],
            lit=self.lit[chosen],
        )


def midnights(start_ms: int, end_ms: int, zone: ZoneInfo) -> list[int]:
    """Local midnights from the last one before ``start_ms`` to the last one before ``end_ms``."""
    date = dt.datetime.fromtimestamp(start_ms / 1000, zone).date()
    last = dt.datetime.fromtimestamp(end_ms / 1000, zone).date()
    found = []
    while date <= last:
        found.append(round(dt.datetime.combine(date, dt.time(), zone).timestamp() * 1000))
        date += dt.timedelta(days=1)
    return found


def whole_days(grid: Grid, temperature: Column, asymptote: Column, zone: ZoneInfo) -> Days:
    """The whole days of a record; those on which the clocks are set are left out.

    Args:
        grid: even means of the record, from a whole number of bins before a local midnight.
        temperature: of the air without gaps, Cel.
        asymptote: what its content goes to in each bin, without gaps, g/m3.
        zone: the enclosure's.
    """
    steps = round(DAY_MS / grid.step_ms)
    rows, starts = [], []
    for midnight_ms in midnights(grid.start_ms, int(grid.at_ms[-1]), zone):
        noon = dt.datetime.fromtimestamp((midnight_ms + 12 * HOUR_MS) / 1000, zone)
        first = grid.bin_of(midnight_ms)
        span = slice(first, first + steps)
        whole = first >= 0 and first + steps <= len(grid) and noon.hour == 12
        if whole and np.mean(grid.count[span] > 0) >= LEAST_MEASURED:
            rows.append(span)
            starts.append(midnight_ms)
    cut = np.array([np.arange(row.start, row.stop) for row in rows]).reshape(-1, steps)
    known = np.flatnonzero(np.isfinite(grid.saturated))
    saturated = np.interp(np.arange(len(grid)), known, grid.saturated[known])
    return Days(
        step_h=grid.step_s / 3600.0,
        start_ms=tuple(starts),
        temperature=temperature[cut],
        saturated=saturated[cut],
        asymptote=np.maximum(asymptote, DRIEST * saturated)[cut],
        lit=grid.lit[cut],
        per_kpa=grid.per_kpa,
    )
