"""A probe's record as the misting assessment reads it: raw columns, and even means of them.

Vapour is counted as *content*: the density the air's vapour would have at the record's mean
temperature, g/m3. Unlike relative humidity it does not move when a lamp goes on or off, and unlike
the true density it is not thinned by warming; it is proportional to the vapour pressure.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.air import absolute_humidity, saturation_vapour_pressure
from monitor.setup.daylight import Daylight

Times = NDArray[np.int64]
Column = NDArray[np.float64]
Flags = NDArray[np.bool_]

KELVIN = 273.15


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """What one probe reported, oldest first: epoch ms, Cel, %RH; no NaN.

    Raises:
        ValueError: the columns are not equally long, or times do not rise.
    """

    at_ms: Times
    temperature: Column
    humidity: Column

    def __post_init__(self) -> None:
        if not len(self.at_ms) == len(self.temperature) == len(self.humidity):
            raise ValueError(
                f"columns of {len(self.at_ms)} times, {len(self.temperature)} temperatures and "
                f"{len(self.humidity)} humidities must be equally long"
            )
        if np.any(np.diff(self.at_ms) <= 0):
            raise ValueError("at_ms must rise from each reading to the next")

    def __len__(self) -> int:
        return len(self.at_ms)

    @classmethod
    def empty(cls) -> "Climate":
        """No readings at all."""
        return cls(np.empty(0, np.int64), np.empty(0), np.empty(0))

    def between(self, start_ms: int, end_ms: int) -> "Climate":
        """The part with ``start_ms <= at < end_ms``."""
        first, beyond = np.searchsorted(self.at_ms, [start_ms, end_ms])
        part = slice(int(first), int(beyond))
        return Climate(self.at_ms[part], self.temperature[part], self.humidity[part])


def density_per_kpa(temperature: float) -> float:
    """g/m3 of content that each kPa of vapour pressure is, where that is the mean temperature."""
    return absolute_humidity(temperature, 100.0) / saturation_vapour_pressure(temperature)


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Means over even bins from ``start_ms``; NaN where a bin has no reading."""

    start_ms: int
    step_s: float
    per_kpa: float
    """g/m3 of content for each kPa; see the module."""
    count: NDArray[np.int64]
    temperature: Column
    humidity: Column
    content: Column
    saturated: Column
    """Content at saturation at the air's temperature."""
    highest_humidity: Column
    room: Column | None
    """Content of the room's air; None without a probe there."""
    lit: Flags

    def __len__(self) -> int:
        return len(self.count)

    @property
    def step_ms(self) -> int:
        """Width of a bin."""
        return round(1000 * self.step_s)

    @property
    def at_ms(self) -> Times:
        """Middles of the bins."""
        return self.start_ms + self.step_ms // 2 + self.step_ms * np.arange(len(self), dtype=int)

    def bin_of(self, at_ms: int) -> int:
        """Index of the bin that holds a time; it may lie outside the grid."""
        return (at_ms - self.start_ms) // self.step_ms


def on_grid(
    climate: Climate,
    room: Climate | None,
    daylight: Daylight,
    start_ms: int,
    end_ms: int,
    step_s: float = 300.0,
    reference: float | None = None,
) -> Grid:
    """Even means of a record, derived reading by reading and averaged after.

    Args:
        climate: the probe in the enclosure.
        room: the probe in the room's air; its gaps are bridged.
        daylight: the enclosure's lamp timer.
        start_ms: where the first bin begins.
        end_ms: where the last one ends, at most a bin's width later.
        step_s: width of a bin.
        reference: Cel that content is counted at; default: the record's mean.
    """
    step_ms = round(1000 * step_s)
    bins = max(0, -(-(end_ms - start_ms) // step_ms))
    part = climate.between(start_ms, end_ms)
    reference = float(part.temperature.mean()) if reference is None else reference
    per_kpa = density_per_kpa(reference)
    where = (part.at_ms - start_ms) // step_ms
    count = np.bincount(where, minlength=bins)

    def mean(values: Column) -> Column:
        total = np.bincount(where, values, bins)
        means: Column = np.divide(total, count, out=np.full(bins, np.nan), where=count > 0)
        return means

    saturated = per_kpa * saturation_vapour_pressure(part.temperature)
    highest = np.full(bins, -np.inf)
    np.maximum.at(highest, where, part.humidity)
    middles = start_ms + step_ms // 2 + step_ms * np.arange(bins, dtype=np.int64)
    return Grid(
        start_ms=start_ms,
        step_s=step_s,
        per_kpa=per_kpa,
        count=count,
        temperature=mean(part.temperature),
        humidity=mean(part.humidity),
        content=mean(saturated * part.humidity / 100.0),
        saturated=mean(saturated),
        highest_humidity=highest,
        room=None if room is None else _bridged(room, per_kpa, middles, step_ms),
        lit=daylight.is_day(middles),
    )


def _bridged(room: Climate, per_kpa: float, middles: Times, step_ms: int) -> Column:
    """Content of the room's air at the middles of bins: means, straight over gaps."""
    content = per_kpa * saturation_vapour_pressure(room.temperature) * room.humidity / 100.0
    edges = np.searchsorted(
        room.at_ms, np.append(middles - step_ms // 2, middles[-1:] + step_ms // 2)
    )
    count = np.diff(edges)
    total = np.diff(np.concatenate([[0.0], np.cumsum(content)])[edges])
    known = count > 0
    return np.interp(middles, middles[known], total[known] / count[known])
