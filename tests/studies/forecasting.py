"""Back-test of the humidity forecast on the worlds of the study of causes."""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf, isfinite, sqrt

import numpy as np
from numpy.typing import NDArray

from monitor.analysis.causes import History
from monitor.analysis.courses import on_grid
from monitor.analysis.forecast import AHEAD, BIN_MS, LimitAhead, forecast
from monitor.times import HOUR_MS, MINUTE_MS
from tests.studies.scenarios import INSIDE, Alarm, World

FINE_MS = 5 * MINUTE_MS
AHEAD_MS = AHEAD * BIN_MS
EACH = 2
UNDER_WAY_MS = 30 * MINUTE_MS
"""A fault is forecast from so long after its onset ..."""
BEFORE_MS = 20 * MINUTE_MS
"""... to so long before the limit is crossed: else there is nothing to see or to say."""

COLUMNS = (
    "forecasts",
    "made",
    "gave an interval",
    "held",
    "crossed before",
    "crossed after",
    "open end",
    "from its start to the crossing",
    "width if closed",
    "crossed without one",
)


@dataclass
class Tally:
    """Forecasts that gave an interval, and what came; hours."""

    made: int = 0
    given: int = 0
    held: int = 0
    early: int = 0
    late: int = 0
    open_ended: int = 0
    silent_crossed: int = 0
    leads: list[float] = field(default_factory=list)
    widths: list[float] = field(default_factory=list)

    def add(self, first: float, last: float, came: float) -> None:
        """Count one: its interval (infinite where open or not given) and the crossing."""
        self.made += 1
        if not isfinite(first):
            self.silent_crossed += isfinite(came)
            return
        self.given += 1
        self.early += came < first
        self.late += came > last
        self.held += first <= came <= last
        self.open_ended += not isfinite(last)
        if isfinite(came):
            self.leads.append(came - first)
        if isfinite(last):
            self.widths.append(last - first)

    @property
    def coverage(self) -> float:
        """Share of the intervals given that held the crossing (or rightly stayed open)."""
        return self.held / self.given if self.given else 0.0

    def row(self, name: str) -> str:
        """As a line of a table."""
        given, silent = max(1, self.given), max(1, self.made - self.given)
        half = 1.96 * sqrt(self.coverage * (1 - self.coverage) / given)
        minutes = [60 * float(np.median(hours or [0.0])) for hours in (self.leads, self.widths)]
        return (
            f"| {name} | {self.made} | {self.given} | {self.coverage:.3f} ± {half:.3f} "
            f"| {self.early / given:.2f} | {self.late / given:.2f} | {self.open_ended / given:.2f} "
            f"| {minutes[0]:.0f} min | {minutes[1]:.0f} min | {self.silent_crossed / silent:.2f} |"
        )


@dataclass
class Backtest:
    """Forecasts in quiet operation and while a fault is under way."""

    quiet: Tally = field(default_factory=Tally)
    fault: Tally = field(default_factory=Tally)

    def try_on(self, world: World, alarm: Alarm | None, rng: np.random.Generator) -> None:
        """At random times: the twin against limits inside its swing, a fault until its alarm."""
        case = world.case
        share = rng.uniform(*INSIDE)
        inside = _limits(world, lambda low, high: low + share * (high - low))
        calm = History(world.calm.at_ms, world.calm.temperature, world.calm.humidity)
        for at_ms in rng.integers(case.onset_ms, case.end_ms - AHEAD_MS, EACH):
            _one(self.quiet, world, calm, inside, int(at_ms))
        if alarm is None or world.faults == 0:
            return
        told = world.watched
        record = History(told.at_ms, told.temperature, told.humidity)
        first, last = case.onset_ms + UNDER_WAY_MS, alarm.since_ms - BEFORE_MS
        last = min(last, case.end_ms - AHEAD_MS)
        if first >= last:
            return
        # Both limits have the margin of the one that was crossed.
        margin = world.calm_range(lit=_lit(world, alarm.raised_ms))[0] - alarm.limit
        outside = _limits(world, lambda low, _: low - margin)
        for at_ms in rng.integers(first, last, EACH):
            _one(self.fault, world, record, outside, int(at_ms))

    def markdown(self) -> str:
        """As tables."""
        return "\n".join(
            (
                "**Forecast of the crossing, 80 % intervals**\n",
                f"| {' | '.join(COLUMNS)} |",
                "|---" * len(COLUMNS) + "|",
                self.quiet.row("quiet, limits inside the usual swing"),
                self.fault.row("a fault under way, limits outside it"),
                "",
            )
        )


def _lit(world: World, at_ms: int) -> bool:
    return bool(world.lit(np.array([at_ms]))[0])


def _limits(world: World, place: Callable[[float, float], float]) -> dict[bool, float]:
    """The lower limit by day (True) and by night."""
    return {lit: place(*world.calm_range(lit=lit)) for lit in (True, False)}


def _one(
    tally: Tally, world: World, history: History, limits: dict[bool, float], now_ms: int
) -> None:
    """Forecast at one time and look what came; nothing if the limit is already crossed."""
    known = history.between(0, now_ms)
    fine = now_ms + FINE_MS * np.arange(1, AHEAD_MS // FINE_MS + 1)
    ahead = on_grid(history.at_ms, history.humidity, int(fine[-1]), FINE_MS, len(fine))
    here = float(np.mean(known.humidity[-3:])) if len(known.at_ms) else np.nan
    course = np.where(world.lit(fine), limits[True], limits[False])
    if not np.isfinite(ahead).all() or not here >= limits[_lit(world, now_ms)]:
        return
    found = forecast(
        known, now_ms, _steps(world, limits, now_ms), world.case.scenario.clock, low=True
    )
    hours = [
        inf if at_ms is None else (at_ms - now_ms) / HOUR_MS
        for at_ms in (found.not_before_ms, found.not_after_ms)
    ]
    tally.add(hours[0], hours[1], _crossing_h(ahead - course))


def _steps(world: World, limits: dict[bool, float], now_ms: int) -> list[LimitAhead]:
    """The limits from now on, a step at each change of the light."""
    minutes = now_ms + MINUTE_MS * np.arange(AHEAD_MS // MINUTE_MS)
    lit = world.lit(minutes)
    changes = np.concatenate([[0], np.flatnonzero(np.diff(lit)) + 1])
    return [LimitAhead(int(minutes[i]), low=limits[bool(lit[i])]) for i in changes]


def _crossing_h(above: NDArray[np.float64]) -> float:
    """Hours until five-minute means first lie below, in the middle of that bin."""
    below = np.flatnonzero(above < 0.0)
    return (below[0] + 0.5) * FINE_MS / HOUR_MS if len(below) else inf
