"""Schedules worth a closer look: for a few lengths of misting, one misting after the other.

On a coarse grid and the likeliest balance, each step adds the misting that helps most, wherever
the limits allow it. What comes out is a ladder of schedules for each length.
"""

from dataclasses import dataclass

import numpy as np

from monitor.analysis.misting.balance import Array, Balance
from monitor.analysis.misting.climate import Column
from monitor.analysis.misting.days import Days
from monitor.analysis.misting.futures import Model, days_under
from monitor.analysis.misting.prediction import limits_by_step, longest
from monitor.analysis.misting.schedule import Goal, Limits

COARSE = 3
"""Steps of the days that the search takes as one."""
SLOT_H = 0.5
"""Distance of the places where a misting is tried."""
MOST_DAYS = 6
RISES = (1.0, 2.0, 3.5, 5.5, 8.0)
"""g/m3 that the mistings tried should add."""
DRY_OUT_WEIGHT = 0.6
"""What a day without its drying-out costs, in time in range."""
LEAST_GAIN = 0.002
STRETCHED = (0.7, 0.85, 1.2, 1.4)
"""By how much the mistings of a schedule are made longer or shorter to get another one."""
MOVES = 4
"""Rounds in which the mistings of a schedule are shifted."""


@dataclass(frozen=True, slots=True, eq=False)
class Candidate:
    """A schedule on the coarse grid: seconds of misting in each step of the day, and its worth."""

    seconds: Column
    inside: float
    """Time in range."""
    dry: float
    """How much of the drying-out it gives, 0 to 1."""

    @property
    def mistings(self) -> int:
        """How many a day."""
        return int(np.count_nonzero(self.seconds))

    @property
    def water(self) -> float:
        """Seconds of misting a day."""
        return float(self.seconds.sum())


class Search:
    """The ladders of one enclosure."""

    def __init__(self, model: Model, goal: Goal, limits: Limits) -> None:
        self._days = model.days.some(MOST_DAYS).coarser(COARSE)
        self._balance: Balance = model.balance()
        self._per_s = model.water.per_s
        self._goal, self._limits = goal, limits
        self._low, self._high = limits_by_step(goal, self._days)
        every = round(SLOT_H / self._days.step_h)
        self._free = limits.allowed(self._days)
        self._slots = np.flatnonzero(self._free)[::every] if self._free.any() else np.empty(0, int)

    @property
    def days(self) -> Days:
        """The days that schedules are tried on."""
        return self._days

    def lengths(self) -> list[float]:
        """Seconds of misting that are tried."""
        return sorted({self._limits.seconds(rise / self._per_s) for rise in RISES})

    def unmisted(self) -> Candidate:
        """No misting at all."""
        return self._rated(np.zeros((1, self._days.steps)))[0]

    def ladders(self) -> list[list[Candidate]]:
        """For each length, the schedules with one misting, two, and so on."""
        lengths = self.lengths()
        ladders: list[list[Candidate]] = [[] for _ in lengths]
        now = [self.unmisted() for _ in lengths]
        going = list(range(len(lengths)))
        for _ in range(self._limits.most_a_day):
            tried = [
                (number, self._with_one_more(now[number], lengths[number])) for number in going
            ]
            tried = [(number, rows) for number, rows in tried if len(rows)]
            if not tried:
                break
            rated = self._rated(np.concatenate([rows for _, rows in tried]))
            going = []
            for number, rows in tried:
                here, rated = rated[: len(rows)], rated[len(rows) :]
                best = max(here, key=self.worth)
                if self.worth(best) > self.worth(now[number]) + LEAST_GAIN:
                    now[number] = best
                    ladders[number].append(best)
                    going.append(number)
        return ladders

    def polished(self, candidate: Candidate) -> Candidate:
        """The schedule after its mistings have been shifted to where they help more."""
        for _ in range(MOVES):
            rows = self._shifted(candidate.seconds)
            if not len(rows):
                break
            best = max(self._rated(rows), key=self.worth)
            if self.worth(best) <= self.worth(candidate):
                break
            candidate = best
        return candidate

    def neighbours(self, candidate: Candidate) -> list[Candidate]:
        """Schedules much like one: all mistings longer or shorter, one more, one less; best first.

        None of an empty one.
        """
        seconds = candidate.seconds
        places = np.flatnonzero(seconds)
        if not len(places):
            return []
        rows: list[Array] = [self._with_one_more(candidate, float(np.median(seconds[places])))]
        for share in STRETCHED:
            row = np.zeros_like(seconds)
            row[places] = [self._limits.seconds(share * each) for each in seconds[places].tolist()]
            rows.append(row[None])
        fewer = np.repeat(seconds[None], len(places), axis=0)
        fewer[np.arange(len(places)), places] = 0.0
        return sorted(self._rated(np.concatenate([*rows, fewer])), key=self.worth, reverse=True)

    def worth(self, candidate: Candidate) -> float:
        """What a schedule is worth, in time in range."""
        return candidate.inside - DRY_OUT_WEIGHT * (1.0 - candidate.dry)

    def _rated(self, rows: Array) -> list[Candidate]:
        humidity = days_under(self._balance, self._days, rows[:, None, :])
        inside = ((humidity >= self._low) & (humidity <= self._high)).mean(axis=(1, 2))
        if self._goal.dry_hours > 0.0:
            hours = longest(humidity < self._goal.dry_below) * self._days.step_h
            dry = np.minimum(1.0, hours / self._goal.dry_hours).mean(axis=1)
        else:
            dry = np.ones(len(rows))
        return [
            Candidate(row, float(one), float(other))
            for row, one, other in zip(rows, inside, dry, strict=True)
        ]

    def _apart(self, seconds: Column, step: int) -> bool:
        """Whether a misting at that step keeps its distance from all others, round the clock."""
        gap = self._limits.apart_min / 60.0 / self._days.step_h
        away = np.abs(np.flatnonzero(seconds) - step)
        return bool(np.all(np.minimum(away, self._days.steps - away) >= max(gap, 1.0)))

    def _with_one_more(self, candidate: Candidate, length: float) -> Array:
        rows = []
        for slot in self._slots.tolist():
            if self._apart(candidate.seconds, slot):
                row = candidate.seconds.copy()
                row[slot] = length
                rows.append(row)
        return np.array(rows).reshape(-1, self._days.steps)

    def _shifted(self, seconds: Column) -> Array:
        rows = []
        for step in np.flatnonzero(seconds).tolist():
            others = seconds.copy()
            others[step] = 0.0
            for by in (-4, -2, -1, 1, 2, 4):
                to = (step + by) % self._days.steps
                if self._free[to] and self._apart(others, to):
                    row = others.copy()
                    row[to] = seconds[step]
                    rows.append(row)
        return np.array(rows).reshape(-1, self._days.steps)
