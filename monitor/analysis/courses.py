"""A probe's record on an even grid that ends now, and the same hour of earlier days.

Grid columns run oldest first; the last bin ends now. The same hour is the same time on the wall
clock: where daylight saving sets the clock, the days before it are shifted by that hour.
"""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from monitor.air import saturation_vapour_pressure
from monitor.times import MINUTE_MS

Times = NDArray[np.int64]
Column = NDArray[np.float64]

LONGEST_GAP_MS = 30 * MINUTE_MS
"""Gaps up to this are bridged, and the last value stands for so long."""

LOWEST_HUMIDITY = 0.1
"""%RH; keeps logarithms finite where a broken probe reports nothing at all."""


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """What one probe reported, oldest first: epoch ms, Cel, %RH (NaN where it gave no number)."""

    at_ms: Times
    temperature: Column
    humidity: Column
    period_s: float = 60.0

    def __post_init__(self) -> None:
        if not len(self.at_ms) == len(self.temperature) == len(self.humidity):
            raise ValueError(
                f"columns of {len(self.at_ms)} times, {len(self.temperature)} temperatures and "
                f"{len(self.humidity)} humidities must be equally long"
            )

    def between(self, start_ms: int, end_ms: int) -> "History":
        """The part with ``start_ms < at <= end_ms``."""
        first, last = np.searchsorted(self.at_ms, [start_ms, end_ms], side="right")
        part = slice(int(first), int(last))
        return History(self.at_ms[part], self.temperature[part], self.humidity[part], self.period_s)


def on_grid(at_ms: Times, values: Column, now_ms: int, bin_ms: int, bins: int) -> Column:
    """Means over even bins of which the last ends now; NaN where nothing is known for too long.

    ``at_ms`` must be in order; nothing after ``now_ms`` is looked at.
    """
    known = np.isfinite(values)
    at_ms, values = at_ms[known], values[known]
    edges = np.searchsorted(at_ms, now_ms + bin_ms * np.arange(-bins, 1), side="right")
    count = np.diff(edges)
    total = np.diff(np.concatenate([[0.0], np.cumsum(values)])[edges])
    filled = np.flatnonzero(count)
    if not len(filled):
        return np.full(bins, np.nan)
    every = np.arange(bins)
    column = np.interp(every, filled, total[filled] / count[filled])
    after = np.searchsorted(filled, every)
    before = np.searchsorted(filled, every, side="right") - 1
    gap = np.where(
        after < len(filled),
        filled[np.minimum(after, len(filled) - 1)] - filled[before],
        every - filled[before],
    )
    column[(before < 0) | (gap * bin_ms > LONGEST_GAP_MS)] = np.nan
    return column


def log_vapour_pressures(temperature: Column, humidity: Column) -> tuple[Column, Column]:
    """Logarithms of e and e_s (kPa): their difference is ln RH, exactly."""
    log_saturated = np.log(saturation_vapour_pressure(temperature))
    return log_saturated + np.log(np.maximum(humidity, LOWEST_HUMIDITY) / 100.0), log_saturated


def same_hour_shifts(at_ms: int, clock: ZoneInfo, days: int) -> list[int]:
    """How long ago (ms) the wall clock showed the same time 1, 2, ... ``days`` days before."""
    # Arithmetic on an aware datetime keeps the wall-clock time; its timestamp knows the offset.
    local = dt.datetime.fromtimestamp(at_ms / 1000, clock)
    earlier = (local - dt.timedelta(days=day) for day in range(1, days + 1))
    return [at_ms - round(1000 * time.timestamp()) for time in earlier]


def median(rows: NDArray[np.float64]) -> Column:
    """Median down each column, NaN left out; NaN where a column has no number."""
    ordered = np.sort(rows, axis=0)  # NaN last
    count = np.sum(np.isfinite(rows), axis=0)
    column = np.arange(rows.shape[1])
    below, above = ordered[np.maximum(count - 1, 0) // 2, column], ordered[count // 2, column]
    return np.asarray(0.5 * (below + above))
