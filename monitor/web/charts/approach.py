"""How a probe comes to rest in the salt box, drawn against the salt's fixed point."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.analysis.calibration import Boxed, FixedPoint
from monitor.store.readings import Floats, Ints
from monitor.times import HOUR_MS, MINUTE_MS
from monitor.web import probe_words
from monitor.web.charts.course import HEIGHT, WIDTH
from monitor.web.charts.scale import Tick, linear, round_numbers, widened

BIN_MS = 10 * MINUTE_MS
"""A point for each ten minutes."""
AHEAD = 1.08
"""Some room is left for what is to come."""
NARROWEST = 4.0
"""%RH: less is never blown up to fill the drawing."""
LEVELS, HOURS = 4, 5


class Band(NamedTuple):
    """The fixed point and how far it may be off, in drawing units from the top."""

    line: float
    top: float
    height: float


@dataclass(frozen=True, slots=True)
class Approach:
    """The drawing; ``earliest`` is where the shortest stay ends, in percent of its width."""

    line: str
    band: Band | None
    levels: tuple[Tick, ...]
    hours: tuple[Tick, ...]
    earliest: float


def approach(
    boxed: Boxed, until_ms: int, least_h: float, reference: FixedPoint | None
) -> Approach | None:
    """The raw humidity since the probe went in; None before the first reading."""
    hours, means = _means(boxed.humidity_ms - boxed.since_ms, boxed.humidity)
    if not len(means):
        return None
    longest_h = AHEAD * max((until_ms - boxed.since_ms) / HOUR_MS, least_h)
    ends = [float(means.min()), float(means.max())]
    if reference is not None:
        ends += [reference.humidity - reference.limit, reference.humidity + reference.limit]
    low, high = widened(min(ends), max(ends), NARROWEST)
    x, y = linear(0, longest_h, 0, WIDTH), linear(low, high, HEIGHT, 0)
    return Approach(
        line=" ".join(
            f"{x(hour):g},{y(mean):g}"
            for hour, mean in zip(hours.tolist(), means.tolist(), strict=True)
        ),
        band=None
        if reference is None
        else Band(
            y(reference.humidity),
            y(reference.humidity + reference.limit),
            round(
                y(reference.humidity - reference.limit) - y(reference.humidity + reference.limit), 2
            ),
        ),
        levels=tuple(Tick(y(each), f"{each:g}") for each in round_numbers(low, high, LEVELS)),
        hours=tuple(
            Tick(round(x(each) * 100 / WIDTH, 2), probe_words.HOURS.format(each))
            for each in round_numbers(0, longest_h, HOURS)
        ),
        earliest=round(x(least_h) * 100 / WIDTH, 2),
    )


def _means(since_ms: Ints, value: Floats) -> tuple[Floats, Floats]:
    """Hours in the box, and the mean of each ten minutes."""
    number, place, count = np.unique(since_ms // BIN_MS, return_inverse=True, return_counts=True)
    total = np.bincount(place, weights=value, minlength=len(number))
    return (number.astype(np.float64) + 0.5) * (BIN_MS / HOUR_MS), total / count
