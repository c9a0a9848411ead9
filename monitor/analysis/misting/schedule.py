"""A misting schedule, what the air should keep to, and what the mister may do."""

import datetime as dt
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.analysis.misting.balance import Array
from monitor.analysis.misting.climate import Flags
from monitor.analysis.misting.days import Days


class Spray(NamedTuple):
    """One misting of a day, by local wall clock."""

    at: dt.time
    seconds: float


Schedule = tuple[Spray, ...]
"""The mistings of every day, in order."""


class Span(NamedTuple):
    """Lowest and highest relative humidity, %RH."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Goal:
    """What the air should keep to.

    ``share`` is the part of the time it should be in range, ``confidence`` how sure that must be.
    With ``dry_hours`` it must be below ``dry_below`` (%RH) for so long without a break each day.
    """

    day: Span
    night: Span
    dry_below: float = 100.0
    dry_hours: float = 0.0
    share: float = 0.8
    confidence: float = 0.9

    def __post_init__(self) -> None:
        for name, span in (("day", self.day), ("night", self.night)):
            if not 0.0 <= span.low < span.high <= 100.0:
                raise ValueError(
                    f"{name} {span.low:g} to {span.high:g} %RH: write 0 <= low < high <= 100"
                )
        if not 0.0 < self.share <= 1.0 or not 0.5 <= self.confidence < 1.0:
            raise ValueError(
                f"share {self.share:g} must be in 0 to 1, confidence {self.confidence:g} in 0.5 "
                "to 1"
            )


@dataclass(frozen=True, slots=True)
class Limits:
    """What the mister can do and may do.

    ``quiet`` are spans of the local day, which may run over midnight, without misting;
    ``only_lit`` and ``only_dark`` tie it to the lights; ``flow_ml_per_s`` is what the nozzles
    spray.
    """

    shortest_s: float = 2.0
    longest_s: float = 60.0
    step_s: float = 1.0
    most_a_day: int = 8
    apart_min: int = 30
    quiet: tuple[tuple[dt.time, dt.time], ...] = ()
    only_lit: bool = False
    only_dark: bool = False
    flow_ml_per_s: float | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.shortest_s <= self.longest_s or self.step_s <= 0.0:
            raise ValueError(
                f"shortest_s {self.shortest_s:g} must be above 0 and at most longest_s "
                f"{self.longest_s:g}; step_s {self.step_s:g} above 0"
            )
        if self.most_a_day < 0 or self.apart_min < 0:
            raise ValueError("most_a_day and apart_min must not be negative")

    def seconds(self, wanted: float) -> float:
        """The length nearest to what is wanted that the mister can do, s."""
        steps = round((wanted - self.shortest_s) / self.step_s)
        most = int((self.longest_s - self.shortest_s) / self.step_s + 1e-9)
        return self.shortest_s + self.step_s * min(max(steps, 0), most)

    def allowed(self, days: Days) -> Flags:
        """Steps of the day at whose beginning it may mist: outside quiet hours, by the lights."""
        minute = np.arange(days.steps) * days.step_h * 60.0
        free = np.ones(days.steps, dtype=np.bool_)
        for begin, end in self.quiet:
            first, last = (60 * at.hour + at.minute for at in (begin, end))
            inside = (
                (minute >= first) & (minute < last)
                if first <= last
                else (minute >= first) | (minute < last)
            )
            free &= ~inside
        lit = days.lit.mean(axis=0) > 0.5
        if self.only_lit:
            free &= lit
        if self.only_dark:
            free &= ~lit
        return free


def on_steps(schedule: Schedule, days: Days) -> Array:
    """Seconds of misting that begin with each step of the day."""
    seconds = np.zeros(days.steps)
    for spray in schedule:
        minute = spray.at.hour * 60 + spray.at.minute
        seconds[min(round(minute / (60.0 * days.step_h)), days.steps - 1)] += spray.seconds
    return seconds


def from_steps(seconds: Array, step_h: float) -> Schedule:
    """The schedule that such seconds in each step of the day are."""
    return tuple(
        Spray(dt.time(*divmod(round(step * step_h * 60.0), 60)), float(seconds[step]))
        for step in np.flatnonzero(seconds > 0.0).tolist()
    )
