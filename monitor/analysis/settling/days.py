"""Local days cut into five-minute bins, and samples put into them."""

import datetime as dt
from dataclasses import dataclass
from typing import Self
from zoneinfo import ZoneInfo

import numpy as np

from monitor.analysis.settling.build import Bools, Floats, Ints, Samples
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS

BIN_MS = 5 * MINUTE_MS
HOURS = 24
ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Days:
    """Whole local days in a row, of 23 to 25 hours where the clock is changed.

    ``day`` and ``hour`` tell for each bin the number of its day and the hours since midnight; what
    a long day has beyond 24 hours is added to the last.
    """

    first: dt.date
    edge_ms: Ints
    day: Ints
    hour: Ints

    @classmethod
    def between(cls, first: dt.date, last: dt.date, clock: ZoneInfo) -> Self:
        """The days from the first to the last, both included; none if the last comes earlier."""
        count = max(0, (last - first).days + 1)
        edge_ms = np.array(
            [midnight_ms(first + n * ONE_DAY, clock) for n in range(count + 1)], dtype=np.int64
        )
        day = np.repeat(np.arange(count), np.diff(edge_ms) // BIN_MS)
        since_ms = edge_ms[0] + BIN_MS * np.arange(len(day)) - edge_ms[day]
        return cls(first, edge_ms, day, np.minimum(since_ms // HOUR_MS, HOURS - 1))

    def __len__(self) -> int:
        return len(self.edge_ms) - 1

    @property
    def bin_ms(self) -> Ints:
        """The start of each bin."""
        return np.asarray(self.edge_ms[0] + BIN_MS * np.arange(len(self.day)))

    @property
    def usual(self) -> Bools:
        """Which days have 24 hours."""
        return np.asarray(np.diff(self.edge_ms) == DAY_MS)

    def ahead(self, days: int | None) -> dt.date | None:
        """The date so many days after that which follows the last; None stays None."""
        return None if days is None else self.first + (len(self) + days) * ONE_DAY

    def sums(self, of_bins: Floats | Bools) -> Floats:
        """The sum over each day's bins."""
        sums = np.bincount(self.day, weights=of_bins, minlength=len(self))
        return sums.astype(np.float64)

    def hourly(self, of_bins: Floats) -> Floats:
        """Means by day and hour, shape (days, 24); NaN where more than half the bins are."""
        known = ~np.isnan(of_bins)
        where = self.day * HOURS + self.hour
        size = len(self) * HOURS
        count = np.bincount(where, weights=known, minlength=size)
        total = np.bincount(where, weights=np.where(known, of_bins, 0.0), minlength=size)
        bins = np.bincount(where, minlength=size)
        enough = (count > 0) & (2 * count >= bins)
        return divided(total, count, enough).reshape(-1, HOURS)

    def binned(self, samples: Samples) -> Floats:
        """The mean of the samples in each bin, NaN where there is none."""
        size = len(self.day)
        where = (samples.at_ms - self.edge_ms[0]) // BIN_MS
        inside = (where >= 0) & (where < size) & np.isfinite(samples.value)
        where = where[inside]
        count = np.bincount(where, minlength=size)
        total = np.bincount(where, weights=samples.value[inside], minlength=size)
        return divided(total, count, count > 0)


def divided(total: Floats | Ints, by: Floats | Ints, where: Bools) -> Floats:
    """The quotients, NaN elsewhere."""
    result = np.full(total.shape, np.nan)
    np.divide(total, by, out=result, where=where)
    return result


def midnight_ms(date: dt.date, clock: ZoneInfo) -> int:
    """The start of a local day; where midnight is skipped, the instant of the jump."""
    return round(dt.datetime.combine(date, dt.time(), clock).timestamp() * 1000)


def local_date(at_ms: int, clock: ZoneInfo) -> dt.date:
    """The date on the local calendar."""
    return dt.datetime.fromtimestamp(at_ms / 1000, clock).date()


def held(values: Floats, bins: int) -> Floats:
    """The values with gaps of at most ``bins`` filled by the last one before."""
    number = np.arange(len(values))
    last = np.maximum.accumulate(np.where(np.isnan(values), -1, number))
    fresh = (last >= 0) & (number - last <= bins)
    return np.where(fresh, values[last], np.nan)
