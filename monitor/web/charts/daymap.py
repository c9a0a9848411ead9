"""The map of days and hours: a row for each day, a cell for each hour of the enclosure's clock."""

import datetime as dt
from dataclasses import dataclass
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from monitor.quantities import Quantity
from monitor.store.readings import Buckets
from monitor.times import HOUR_MS, day_in_words
from monitor.web.charts.wanted import Part, limits_at
from monitor.web.units import Units

STEPS = 7
"""Shades from the lowest to the highest value."""


class Cell(NamedTuple):
    """One hour: its shade, and whether its mean lay below or above the range."""

    hour: int
    shade: int
    strayed: str
    """``below``, ``above`` or nothing."""
    says: str


class Row(NamedTuple):
    """One day, the newest first; ``named`` on Mondays and on the first row."""

    says: str
    named: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class DayMap:
    """What is drawn, and from which value to which each shade goes."""

    rows: tuple[Row, ...]
    shades: tuple[str, ...]
    sign: str


def day_map(
    buckets: Buckets,
    parts: list[Part],
    zone: ZoneInfo,
    quantity: Quantity,
    units: Units,
) -> DayMap | None:
    """Lay hourly buckets out by day and hour; None without any."""
    if not len(buckets.at_ms):
        return None
    low, high = float(buckets.mean.min()), float(buckets.mean.max())
    edges = np.linspace(low, high, STEPS + 1)
    shade = np.clip(np.searchsorted(edges, buckets.mean, side="right") - 1, 0, STEPS - 1)
    middle_ms = buckets.at_ms + HOUR_MS // 2
    lowest, highest = limits_at(parts, middle_ms)
    days: dict[dt.date, dict[int, Cell]] = {}
    for at_ms, mean, step, below, above in zip(
        middle_ms.tolist(),
        buckets.mean.tolist(),
        shade.tolist(),
        (buckets.mean < lowest).tolist(),
        (buckets.mean > highest).tolist(),
        strict=True,
    ):
        when = dt.datetime.fromtimestamp(at_ms / 1000, zone)
        strayed = "below" if below else "above" if above else ""
        # An hour that comes twice in autumn shows its second time.
        days.setdefault(when.date(), {})[when.hour] = Cell(
            when.hour, step, strayed, units.number(quantity, mean)
        )
    rows = [
        Row(day_in_words(day), day.weekday() == 0 or number == 0, tuple(cells.values()))
        for number, (day, cells) in enumerate(sorted(days.items(), reverse=True))
    ]
    return DayMap(
        rows=tuple(rows),
        shades=tuple(units.number(quantity, float(edge)) for edge in edges),
        sign=units.sign(quantity),
    )
