"""Did a schedule work? Days before and after it, matched by what the weather did.

Each day after is paired with the most similar day before: as warm, and with the room's air as moist
where that is known. The mean of the pairs' differences gets an interval that is wider the more the
differences hang together from one pair to the next.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import NamedTuple

import numpy as np

from monitor.analysis.misting.climate import Climate, Column, Grid, on_grid
from monitor.analysis.misting.days import LEAST_MEASURED, midnights
from monitor.analysis.misting.prediction import NEAR_SATURATION_RH, longest
from monitor.analysis.misting.schedule import Goal, Schedule
from monitor.analysis.settling.student import upper_tail
from monitor.setup.daylight import Daylight
from monitor.times import DAY_MS

BEFORE_DAYS = 21
"""How far back a day may be compared with."""
AFTER_DAYS = 21
FEWEST_PAIRS = 4
ALIKE = 1.5
"""How far the days of a pair may be apart, in standard deviations of a day."""
ONE_SIDED = 0.05
"""Of each end of a 90 % interval."""
MOST_ALIKE = 0.8
"""Correlation of neighbouring pairs that is reckoned with at most."""
ALIKE_SEEN, ALIKE_UNSEEN = 0.2, 0.5
"""And at least, with and without a probe in the room: a week has weather of its own, which its few
days cannot tell from a change."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A schedule that the keeper put to work at a time."""

    at_ms: int
    schedule: Schedule


@dataclass(frozen=True, slots=True)
class Change:
    """A figure before and after, and the difference with its 90 % interval."""

    before: float
    after: float
    difference: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What came of a schedule; ``cannot`` says why nothing can be told yet.

    ``time_in_range`` is a share of the day, the others are hours a day.
    """

    taken: Taken
    cannot: str | None
    pairs: int = 0
    time_in_range: Change | None = None
    near_saturation_h: Change | None = None
    dry_h: Change | None = None
    says: str = ""


def follow_up(
    climate: Climate,
    room: Climate | None,
    daylight: Daylight,
    taken: Taken,
    goal: Goal,
    at_ms: int,
) -> FollowUp:
    """Compare the days after a schedule was taken with those before.

    Args:
        climate: a probe in the enclosure's air, from three weeks before.
        room: the probe in the room's air, where there is one.
        daylight: the enclosure's lamp timer.
        taken: the schedule, and since when.
        goal: what the air should keep to.
        at_ms: as of when.
    """
    zone = daylight.zone
    end_ms = min(at_ms, taken.at_ms + (AFTER_DAYS + 1) * DAY_MS)
    starts = midnights(taken.at_ms - BEFORE_DAYS * DAY_MS, end_ms, zone)
    part = climate.between(starts[0], end_ms)
    if not len(part):
        return FollowUp(taken, "there are no readings of temperature and humidity in this time")
    if room is not None:
        room = room.between(starts[0], end_ms)
        room = room if len(room) else None
    days = _days(on_grid(part, room, daylight, starts[0], end_ms), starts, goal)
    # The day of the change belongs to neither side.
    before = [day for day in days if day.start_ms + DAY_MS <= taken.at_ms]
    after = [day for day in days if day.start_ms > taken.at_ms]
    pairs = _pairs(before, after)
    if len(pairs) < FEWEST_PAIRS:
        return FollowUp(
            taken,
            f"{len(after)} whole days after and {len(before)} before make {len(pairs)} pairs of "
            f"like weather; it takes {FEWEST_PAIRS}: wait some days, and keep the probe reporting",
            len(pairs),
        )
    earlier, later = (np.array([pair[side].figures for pair in pairs]) for side in (0, 1))
    alike = ALIKE_UNSEEN if room is None else ALIKE_SEEN
    inside, near, dry = (
        change(earlier[:, k], later[:, k], alike) for k in range(len(Figures._fields))
    )
    return FollowUp(taken, None, len(pairs), inside, near, dry, _says(inside, len(pairs)))


def change(before: Column, after: Column, least_alike: float = 0.0) -> Change:
    """Means of matched days and of their differences, in order of time, with a 90 % interval.

    Neighbouring differences hang together: they count for as many independent ones as are worth as
    much, by their lag-one correlation (corrected for its bias in short series) or by
    ``least_alike``, whichever is more. Their spread is corrected for what their mean has taken up.
    """
    difference = after - before
    count = len(difference)
    away = difference - difference.mean()
    power = float(away @ away)
    alike = float(away[1:] @ away[:-1]) / power if power > 0.0 else 0.0
    alike = min(max(alike + (1.0 + 4.0 * alike) / count, least_alike), MOST_ALIKE)
    worth = max(2.0, count * (1.0 - alike) / (1.0 + alike))
    error = sqrt(power / (count * (1.0 - 1.0 / worth)) / worth)
    reach = error * t_quantile(count - 1)
    mean = float(difference.mean())
    return Change(float(before.mean()), float(after.mean()), mean, mean - reach, mean + reach)


def t_quantile(df: int) -> float:
    """The t that a variate with so many degrees of freedom exceeds one time in twenty."""
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        over = float(upper_tail(np.array([middle]), df)[0]) > ONE_SIDED
        low, high = (middle, high) if over else (low, middle)
    return high


class Figures(NamedTuple):
    """What one day was like for the animal."""

    inside: float
    near_h: float
    dry_h: float


class _Day(NamedTuple):
    start_ms: int
    weather: Column
    figures: Figures


def _days(grid: Grid, starts: Sequence[int], goal: Goal) -> list[_Day]:
    low = np.where(grid.lit, goal.day.low, goal.night.low)
    high = np.where(grid.lit, goal.day.high, goal.night.high)
    days = []
    for start_ms, end_ms in pairwise(starts):
        span = slice(grid.bin_of(start_ms), grid.bin_of(end_ms))
        measured = grid.count[span] > 0
        if measured.mean() < LEAST_MEASURED:
            continue
        humidity = grid.humidity[span][measured]
        inside = (humidity >= low[span][measured]) & (humidity <= high[span][measured])
        step_h = 24.0 / len(measured)
        figures = Figures(
            float(inside.mean()),
            float(24.0 * (humidity >= NEAR_SATURATION_RH).mean()),
            float(longest(humidity < goal.dry_below) * step_h),
        )
        weather = [float(grid.temperature[span][measured].mean())]
        if grid.room is not None:
            weather.append(float(grid.room[span].mean()))
        days.append(_Day(start_ms, np.array(weather), figures))
    return days


def _pairs(before: Sequence[_Day], after: Sequence[_Day]) -> list[tuple[_Day, _Day]]:
    """Days before and after that are alike, the most alike first chosen, in order of the later."""
    if not before or not after:
        return []
    spread = np.array([day.weather for day in (*before, *after)]).std(axis=0)
    spread[spread == 0.0] = 1.0
    apart = sorted(
        (float(np.linalg.norm((one.weather - other.weather) / spread)), i, j)
        for i, one in enumerate(before)
        for j, other in enumerate(after)
    )
    chosen: dict[int, int] = {}
    for distance, i, j in apart:
        if distance <= ALIKE and i not in chosen.values() and j not in chosen:
            chosen[j] = i
    return [(before[chosen[j]], after[j]) for j in sorted(chosen)]


def _says(inside: Change, pairs: int) -> str:
    told = (
        f"{100.0 * inside.difference:+.0f} points "
        f"({100.0 * inside.low:+.0f} to {100.0 * inside.high:+.0f}) on {pairs} pairs of like days"
    )
    if inside.low > 0.0:
        return f"it helped: time in range {told}"
    if inside.high < 0.0:
        return f"it made things worse: time in range {told}"
    return f"no difference can be told yet: time in range {told}"
