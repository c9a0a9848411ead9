"""How often the settling assessment is wrong, and how long it takes to be right.

    python -m tests.studies.study_settling [--quick]

prints the tables of docs/settling.md. Daily series with a known trend are judged day by day with
the assessment's own functions, simulated builds with the whole assessment.
"""

import argparse
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
import numpy.typing as npt

from monitor.analysis.settling import Result, Verdict, assess
from monitor.analysis.settling.climate import Daily
from monitor.analysis.settling.trend import approach_at, trend_at
from monitor.quantities import Quantity
from monitor.species.settling import SettlingLimits
from tests.support.builds import SimulatedBuild, random_build

Floats = npt.NDArray[np.float64]

LIMITS = SettlingLimits()
RH = Quantity.HUMIDITY
NEVER = 10_000
SPREADS = (0.5, 1.0, 1.5)
PHIS = (0.0, 0.3, 0.6)
TAUS = (10.0, 20.0, 30.0)
DRIFT_DAYS = 60
APPROACH_DAYS = 75
BUILD_DAYS = 90


@dataclass(frozen=True, slots=True)
class Size:
    """How many runs each row gets."""

    drifts: int
    even: int
    approaches: int
    builds: int


FULL = Size(drifts=200, even=200, approaches=120, builds=200)
QUICK = Size(drifts=40, even=20, approaches=15, builds=12)


def noise(rng: np.random.Generator, days: int, spread: float, phi: float) -> Floats:
    """AR(1) noise of a standard deviation, with a correlation from one day to the next."""
    luck = rng.standard_normal(days)
    course = np.empty(days)
    course[0] = luck[0]
    for day in range(1, days):
        course[day] = phi * course[day - 1] + np.sqrt(1.0 - phi**2) * luck[day]
    return spread * course


def daily(value: Floats, room: Floats | None = None) -> Daily:
    """A daily series as the assessment makes it."""
    beside = np.empty((0, len(value))) if room is None else room
    return Daily(value, np.zeros(len(value), dtype=np.int64), beside)


def called_on(passes: Callable[[int], bool], days: int) -> int:
    """The day on which something first holds as many days running as is asked; or NEVER."""
    running = 0
    for end in range(LIMITS.even_days, days + 1):
        running = running + 1 if passes(end) else 0
        if running == LIMITS.running_days:
            return end
    return NEVER


def is_even(series: Daily, end: int) -> bool:
    """Whether the trend is found even as of a day."""
    trend = trend_at(series, end, RH, LIMITS)
    return trend is not None and trend.result is Result.PASS


def is_both(series: Daily, end: int) -> bool:
    """Whether it is even, and little is still to come, as of a day."""
    approach = approach_at(series, end, LIMITS)
    return approach is not None and approach.result is Result.PASS and is_even(series, end)


@dataclass(frozen=True, slots=True)
class Row:
    """Noise, and the day on which each run was called."""

    spread: float
    phi: float
    called: tuple[int, ...]

    def share_by(self, day: int) -> float:
        """Share of the runs that were called by a day."""
        return float(np.mean(np.array(self.called) <= day))

    def day(self, share: float) -> int:
        """The day by which that share was called."""
        return int(np.quantile(self.called, share, method="inverted_cdf"))


@dataclass(frozen=True, slots=True)
class Approach:
    """Exponential approaches of one time constant; what was left of each on the day of its call.

    ``to_come_if_even``: what was left on the day it would have been called for being even alone.
    """

    row: Row
    tau: float
    to_come: tuple[float, ...]
    to_come_if_even: tuple[float, ...]

    @property
    def share_too_early(self) -> float:
        """Share of all runs that were called with more to come than allowed."""
        early = sum(left > LIMITS.to_come_humidity_pct for left in self.to_come)
        return early / len(self.row.called)


@dataclass(frozen=True, slots=True)
class Outcome:
    """A simulated build: when it was called settled, when it was, and whether mould showed then.

    ``relapsed``: whether the watch on the settled build gave alarm later; None if nobody watched.
    """

    called_day: int
    true_day: int
    shows: bool
    relapsed: bool | None = None

    @property
    def is_early(self) -> bool:
        """Whether it was called before its time."""
        return self.called_day < self.true_day


def drifting(size: Size, spread: float, phi: float, rng: np.random.Generator) -> Row:
    """Builds whose humidity drifts exactly at the limit: none should be called even."""
    drift = LIMITS.trend_humidity_pct * np.arange(DRIFT_DAYS)
    called = []
    for _ in range(size.drifts):
        series = daily(drift + noise(rng, DRIFT_DAYS, spread, phi))
        called.append(called_on(partial(is_even, series), DRIFT_DAYS))
    return Row(spread, phi, tuple(called))


def drifting_in_a_room(size: Size, spread: float, phi: float, rng: np.random.Generator) -> Row:
    """The same in a room that is measured, whose weather moves the humidity by 2 %RH and more."""
    drift = LIMITS.trend_humidity_pct * np.arange(DRIFT_DAYS)
    called = []
    for _ in range(size.drifts):
        weather = np.array([noise(rng, DRIFT_DAYS, 1.0, 0.7) for _ in range(2)])
        moved = np.array([-1.5, 1.5]) @ weather
        room = np.array([[20.0], [1.1]]) + np.array([[1.0], [0.1]]) * weather
        series = daily(drift + moved + noise(rng, DRIFT_DAYS, spread, phi), room)
        called.append(called_on(partial(is_even, series), DRIFT_DAYS))
    return Row(spread, phi, tuple(called))


def even(size: Size, spread: float, phi: float, rng: np.random.Generator) -> tuple[Row, Row]:
    """Truly even builds: when they are called even, and when even with nothing still to come."""
    found_even, found_still = [], []
    for _ in range(size.even):
        series = daily(noise(rng, APPROACH_DAYS, spread, phi))
        found_even.append(called_on(partial(is_even, series), APPROACH_DAYS))
        found_still.append(called_on(partial(is_both, series), APPROACH_DAYS))
    return Row(spread, phi, tuple(found_even)), Row(spread, phi, tuple(found_still))


def approaching(
    size: Size, spread: float, phi: float, tau: float, rng: np.random.Generator
) -> Approach:
    """Builds that approach their end value from 5 to 20 %RH away, above or below."""
    fading = np.exp(-np.arange(APPROACH_DAYS) / tau)
    called, left, left_if_even = [], [], []
    for _ in range(size.approaches):
        start = rng.uniform(5.0, 20.0) * rng.choice([-1.0, 1.0])
        series = daily(start * fading + noise(rng, APPROACH_DAYS, spread, phi))
        day = called_on(partial(is_both, series), APPROACH_DAYS)
        called.append(day)
        if day != NEVER:
            left.append(abs(start) * fading[day - 1])
        day = called_on(partial(is_even, series), APPROACH_DAYS)
        if day != NEVER:
            left_if_even.append(abs(start) * fading[day - 1])
    return Approach(Row(spread, phi, tuple(called)), tau, tuple(left), tuple(left_if_even))


def outcomes(size: Size, rng: np.random.Generator) -> list[Outcome]:
    """Simulated builds, each judged every evening until it is called settled.

    Three in four have a probe in the room. The first quarter is watched on after its call.
    """
    return [
        outcome(
            random_build(rng, BUILD_DAYS, room_probe=bool(rng.random() < 0.75)),
            watched=number < size.builds // 4,
        )
        for number in range(size.builds)
    ]


def outcome(simulated: SimulatedBuild, *, watched: bool) -> Outcome:
    """When a build is called settled, and what came of it."""
    true_day = max(LIMITS.age_days, simulated.clean_day, simulated.still_day)
    for day in range(LIMITS.age_days, BUILD_DAYS):
        if assess(simulated.at(day)).verdict is Verdict.SETTLED:
            relapsed = watch(simulated, day) if watched else None
            return Outcome(day, true_day, any(simulated.shows[day:]), relapsed)
    return Outcome(NEVER, true_day, shows=False)


def watch(simulated: SimulatedBuild, since: int) -> bool:
    """Whether a settled build is ever told to have relapsed."""
    days = range(since + 1, BUILD_DAYS, LIMITS.running_days)
    return any(assess(simulated.at(day, was_settled=True)).relapses for day in days)


def grid() -> Iterator[tuple[float, float]]:
    """Spreads and correlations of the noise."""
    return product(SPREADS, PHIS)


def tell_drifts(size: Size, rng: np.random.Generator) -> None:
    """The table of builds that drift at the limit."""
    print(f"\nDrift of {LIMITS.trend_humidity_pct:g} %RH a day, {size.drifts} runs a row\n")
    print("| spread, %RH | phi | called even within 60 days | the same, weather and room probe |")
    print("| --- | --- | --- | --- |")
    for spread, phi in grid():
        alone = drifting(size, spread, phi, rng).share_by(DRIFT_DAYS)
        in_room = drifting_in_a_room(size, spread, phi, rng).share_by(DRIFT_DAYS)
        print(f"| {spread:g} | {phi:g} | {100 * alone:.1f} % | {100 * in_room:.1f} % |")


def tell_even(size: Size, rng: np.random.Generator) -> None:
    """The table of truly even builds."""
    print(f"\nTruly even, {size.even} runs a row; days by which half and nine in ten are called\n")
    print("| spread, %RH | phi | even | even and nothing to come |")
    print("| --- | --- | --- | --- |")
    for spread, phi in grid():
        rows = even(size, spread, phi, rng)
        days = " | ".join(f"{row.day(0.5)}, {row.day(0.9)}" for row in rows)
        print(f"| {spread:g} | {phi:g} | {days} |")


def tell_approaches(size: Size, rng: np.random.Generator) -> None:
    """The table of exponential approaches."""
    print(f"\nApproaches from 5 to 20 %RH away, {size.approaches} runs a row, 75 days\n")
    print(
        "| spread, %RH | phi | tau, d | called | with over 1.5 %RH to come | to come, 95 % "
        "| to come, half, if even were enough |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for (spread, phi), tau in product(grid(), TAUS):
        found = approaching(size, spread, phi, tau, rng)
        most = np.quantile(found.to_come, 0.95) if found.to_come else np.nan
        print(
            f"| {spread:g} | {phi:g} | {tau:g} | {100 * found.row.share_by(APPROACH_DAYS):.0f} % "
            f"| {100 * found.share_too_early:.1f} % | {most:.1f} "
            f"| {np.median(found.to_come_if_even or np.nan):.1f} |"
        )


def tell_builds(size: Size, rng: np.random.Generator) -> None:
    """The table of simulated builds."""
    found = outcomes(size, rng)
    called = [each for each in found if each.called_day != NEVER]
    error = np.array([each.called_day - each.true_day for each in called])
    late = ", ".join(f"{np.quantile(error, share):.0f}" for share in (0.05, 0.25, 0.5, 0.75, 0.95))
    print(f"\nSimulated builds of {BUILD_DAYS} days\n")
    print("| | builds |\n| --- | --- |")
    print(f"| all | {len(found)} |")
    print(f"| called settled | {len(called)} |")
    print(f"| of these, with mould yet to be seen | {sum(each.shows for each in called)} |")
    print(f"| called before the true day | {sum(each.is_early for each in called)} |")
    for name, early in (("early", True), ("in time", False)):
        watched = [each.relapsed for each in called if each.is_early is early]
        known = [each for each in watched if each is not None]
        print(f"| called {name} and watched on | {len(known)}, alarm in {sum(known)} |")
    print(f"\nDays from the true day to the call (5, 25, 50, 75, 95 %): {late}")


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the runs")
    size = QUICK if parser.parse_args().quick else FULL
    for number, tell in enumerate((tell_drifts, tell_even, tell_approaches, tell_builds)):
        begun = time.perf_counter()
        tell(size, np.random.default_rng([5, number]))
        print(f"\n({time.perf_counter() - begun:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
