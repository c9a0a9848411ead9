"""Mistings that show in the air, and lids that were opened.

The search runs on the content of vapour: a lamp's switching moves relative humidity but hardly the
content. Through the minutes before and the minutes after every reading go two straight lines of one
common slope; where the later one lies clearly higher, vapour was added, where it lies lower, vapour
was lost at once. What rises after a loss and gets no higher than before is the air coming back
after a lid was closed, not a misting.
"""

from dataclasses import dataclass
from itertools import zip_longest
from typing import NamedTuple

import numpy as np

from monitor.air import saturation_vapour_pressure
from monitor.analysis.misting.climate import Climate, Column, Times, density_per_kpa
from monitor.setup.daylight import Daylight
from monitor.times import MINUTE_MS

BEFORE_MIN = 8.0
"""Minutes of readings that each line goes through; more with a slow probe."""
GAP_MIN = 2.5
"""Minutes left out between them: a misting and the probe's lag take that long."""
FEWEST_READINGS = 4
STANDS_OUT = 4.5
"""Standard errors by which a rise must exceed none."""
LEAST_RISE = 0.25
"""g/m3 below which a rise is not worth the name."""
APART_MS = 15 * MINUTE_MS
"""Two rises closer than this count as one."""
SWITCH_MS = 25 * MINUTE_MS
"""How long after the lights were switched a rise may be leaves and warmth."""
STILL_RISING = 0.5
"""Share of a rise that the next ten minutes would add, from which it is no misting then."""
LID_MS = 30 * MINUTE_MS
"""How long after a loss a rise may be the air coming back."""
HALVING_MS = 360 * MINUTE_MS
"""How long the fall after a rise is followed."""


@dataclass(frozen=True, slots=True)
class Rise:
    """Vapour that came at once (or, in a loss, went).

    ``rise`` in g/m3 (negative: a loss); ``certainty`` in standard errors; ``halved_after_s`` is how
    long it took until half of it was gone, None if something came between.
    """

    at_ms: int
    rise: float
    certainty: float
    halved_after_s: float | None = None


class Seen(NamedTuple):
    """What the air shows of mistings and of lids, in order of time."""

    rises: tuple[Rise, ...]
    losses: tuple[Rise, ...]


def content(climate: Climate) -> Column:
    """Content of vapour reading by reading, g/m3 (see :mod:`monitor.analysis.misting.climate`)."""
    per_kpa = density_per_kpa(float(climate.temperature.mean()))
    return per_kpa * saturation_vapour_pressure(climate.temperature) * climate.humidity / 100.0


def seen(climate: Climate, daylight: Daylight | None = None) -> Seen:
    """Find sudden rises and losses of vapour in a probe's record.

    Args:
        climate: what the probe reported.
        daylight: the lamp timer: at its switching, what goes on rising is no misting.
    """
    if len(climate) < 2 * FEWEST_READINGS:
        return Seen((), ())
    vapour = content(climate)
    minutes = (climate.at_ms - climate.at_ms[0]) / MINUTE_MS
    period = float(np.median(np.diff(minutes)))
    gap, width = max(GAP_MIN, 1.2 * period), max(BEFORE_MIN, 5.0 * period)
    step = _steps(minutes, vapour, gap, width)
    certainty = step.height / (_noise(vapour) * step.error)
    # A step must also show in the levels as such, else it is a bend in a slope.
    found = _peaks(climate.at_ms, np.where(certainty * step.apart > 0.0, certainty, 0.0))
    losses = [i for i in found if certainty[i] < 0.0]
    lids = [
        Rise(int(climate.at_ms[i]), float(step.height[i]), -float(certainty[i])) for i in losses
    ]

    rises = []
    for i in found:
        if certainty[i] < 0.0:
            continue
        if step.height[i] < LEAST_RISE or _comes_back(climate.at_ms, step, losses, i):
            continue
        growing = 10.0 * step.slope_after[i] > STILL_RISING * step.height[i]
        if growing and daylight is not None and _just_switched(daylight, int(climate.at_ms[i])):
            continue
        at_ms = _onset_ms(minutes, vapour, climate.at_ms, step, i, gap, max(3.0, period))
        rises.append(Rise(at_ms, float(step.height[i]), float(certainty[i])))
    rises.sort(key=lambda rise: rise.at_ms)
    lids.sort(key=lambda lid: lid.at_ms)
    return Seen(tuple(_followed(rises, climate.at_ms, vapour)), tuple(lids))


@dataclass(frozen=True, slots=True, eq=False)
class _Steps:
    """For each reading: the step after it (g/m3), its error per unit of noise, and levels."""

    height: Column
    error: Column
    apart: Column
    before: Column
    after: Column
    slope_after: Column
    """g/m3 a minute."""


def _steps(minutes: Column, vapour: Column, gap: float, width: float) -> _Steps:
    values = vapour - vapour.mean()
    sums = [
        np.concatenate([[0.0], np.cumsum(column)])
        for column in (np.ones_like(minutes), minutes, values, minutes**2, minutes * values)
    ]

    def line(first: Times, beyond: Times) -> tuple[Column, ...]:
        n, t, y, tt, ty = (column[beyond] - column[first] for column in sums)
        count = np.maximum(n, 1.0)
        return n, t / count, y / count, np.maximum(tt - t * t / count, 1e-9), ty - t * y / count

    n, t, y, tt, ty = line(
        np.searchsorted(minutes, minutes - width), np.arange(1, len(minutes) + 1)
    )
    n2, t2, y2, tt2, ty2 = line(
        np.searchsorted(minutes, minutes + gap), np.searchsorted(minutes, minutes + gap + width)
    )
    slope = (ty + ty2) / (tt + tt2)
    enough = (n >= FEWEST_READINGS) & (n2 >= FEWEST_READINGS)
    height = np.where(enough, y2 - y - slope * (t2 - t), 0.0)
    error = np.sqrt(
        1.0 / np.maximum(n, 1.0) + 1.0 / np.maximum(n2, 1.0) + (t2 - t) ** 2 / (tt + tt2)
    )
    return _Steps(height, error, y2 - y, y + vapour.mean(), y2 + vapour.mean(), ty2 / tt2)


def _noise(vapour: Column) -> float:
    """Standard deviation of the readings' noise, from second differences, which trends leave."""
    second = np.abs(np.diff(vapour, 2))
    return max(1e-3, float(1.4826 * np.median(second) / np.sqrt(6.0)))


def _peaks(at_ms: Times, certainty: Column) -> list[int]:
    """Where the certainty is greatest either way, best first, no two closer than they may be.

    Beside a large step the lines make smaller ones of the other sign out of its shoulders.
    """
    left = np.abs(certainty)
    found = []
    for i in np.argsort(-left, kind="stable").tolist():
        if abs(certainty[i]) < STANDS_OUT:
            break
        if left[i] > 0.0:
            found.append(i)
            first, beyond = np.searchsorted(at_ms, [at_ms[i] - APART_MS, at_ms[i] + APART_MS])
            left[first:beyond] = 0.0
    return found


def _comes_back(at_ms: Times, step: _Steps, losses: list[int], i: int) -> bool:
    """Whether a rise only takes the air back to where it was before a lid was opened."""
    return any(
        0 <= at_ms[i] - at_ms[loss] <= LID_MS and step.after[i] < step.before[loss]
        for loss in losses
    )


def _just_switched(daylight: Daylight, at_ms: int) -> bool:
    """Whether the lights were switched shortly before or, within a few minutes, after."""
    before, after = daylight.is_day(np.array([at_ms - SWITCH_MS, at_ms + 5 * MINUTE_MS]))
    return bool(before != after)


def _onset_ms(
    minutes: Column, vapour: Column, at_ms: Times, step: _Steps, i: int, gap: float, margin: float
) -> int:
    """Between the last reading before the rise and the first that shows it."""
    first = int(np.searchsorted(minutes, minutes[i] - margin))
    beyond = int(np.searchsorted(minutes, minutes[i] + gap + margin, side="right"))
    risen = np.flatnonzero(vapour[first:beyond] > step.before[i] + 0.3 * step.height[i])
    if not len(risen) or first + risen[0] == 0:
        return int(at_ms[i])
    shows = first + int(risen[0])
    return int(at_ms[shows - 1] + at_ms[shows]) // 2


def _followed(rises: list[Rise], at_ms: Times, vapour: Column) -> list[Rise]:
    """The rises with how long each took to halve, unless the next one came before."""
    result = []
    for rise, following in zip_longest(rises, rises[1:]):
        end_ms = int(at_ms[-1]) if following is None else following.at_ms
        first, last = np.searchsorted(
            at_ms, [rise.at_ms - 5 * MINUTE_MS, min(end_ms, rise.at_ms + HALVING_MS)]
        )
        start = int(np.searchsorted(at_ms, rise.at_ms))
        halved = None
        if start > first and last > start:
            top = start + int(np.argmax(vapour[start:last]))
            half = vapour[first:start].mean() + 0.5 * rise.rise
            below = np.flatnonzero(vapour[top:last] < half)
            if len(below):
                halved = float(at_ms[top + int(below[0])] - rise.at_ms) / 1000.0
        result.append(Rise(rise.at_ms, rise.rise, rise.certainty, halved))
    return result
