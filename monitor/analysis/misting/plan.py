"""Proposals: the cheapest schedules that keep the goal, or why none can.

Nothing here drives a mister.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.analysis.misting.balance import half_gone_min
from monitor.analysis.misting.futures import Futures, Model
from monitor.analysis.misting.hindrance import hindrance
from monitor.analysis.misting.prediction import Prediction, predict
from monitor.analysis.misting.rating import Kept, Rating
from monitor.analysis.misting.schedule import Goal, Limits, Schedule, from_steps
from monitor.analysis.misting.search import Candidate, Search

FEWEST = 3
"""Alternatives that are looked for."""
MOST_MORE = 8
"""Schedules that are looked at for their sake."""


@dataclass(frozen=True, slots=True, eq=False)
class Proposal:
    """A schedule with what it is predicted to give and the reason for it."""

    schedule: Schedule
    predicted: Prediction
    goal: Goal
    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Proposals, the cheapest first, or why there is none and the best that was found instead."""

    proposals: tuple[Proposal, ...]
    infeasible: str | None = None
    best: Schedule | None = None


def plan(model: Model, goal: Goal, limits: Limits, seed: int = 0) -> Plan:
    """Find the cheapest schedules that keep a goal, with at least three alternatives if there are.

    Args:
        model: the enclosure.
        goal: what the air should keep to.
        limits: of the mister and of the keeper.
        seed: of the draws; the same question gets the same answer.
    """
    futures = Futures(model, seed)
    search = Search(model, goal, limits)
    rating = Rating(futures, goal, search)
    ladders = [[search.unmisted()], *search.ladders()]
    for ladder in ladders:
        _climb(ladder, rating)
    # Whatever else keeps the goal well is an alternative too.
    rungs = sorted((rung for ladder in ladders for rung in ladder), key=search.worth, reverse=True)
    _more(rungs, rating)
    for kept in tuple(rating.kept):
        _more(search.neighbours(kept.candidate), rating)
    if rating.kept:
        return Plan(tuple(_proposals(rating.kept, futures, goal, limits)))
    best = from_steps(search.polished(rungs[0]).seconds, search.days.step_h)
    return Plan((), hindrance(futures, goal, limits, best), best)


def _climb(ladder: Sequence[Candidate], rating: Rating) -> None:
    """Rate rungs of a ladder until the lowest that keeps the goal is found, by halving."""
    low, high = 0, len(ladder)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if rating.keeps(ladder[middle]) else (middle + 1, high)


def _more(candidates: Sequence[Candidate], rating: Rating) -> None:
    """Rate some more schedules until there are enough that keep the goal."""
    for candidate in candidates[:MOST_MORE]:
        if len(rating.kept) >= FEWEST:
            return
        rating.keeps(candidate)


def _proposals(
    kept: Sequence[Kept], futures: Futures, goal: Goal, limits: Limits
) -> list[Proposal]:
    """One schedule for each taste, the cheapest first, then others by their cost."""
    least = min((_seconds(each.schedule) for each in kept if each.schedule), default=1.0)

    def cost(each: Kept) -> float:
        return len(each.schedule) + _seconds(each.schedule) / least

    tastes = (
        ("the cheapest in mistings and water together", min(kept, key=cost)),
        ("the fewest mistings", min(kept, key=lambda e: (len(e.schedule), _seconds(e.schedule)))),
        ("the least water", min(kept, key=lambda e: (_seconds(e.schedule), len(e.schedule)))),
        ("the steadiest in range", max(kept, key=lambda e: e.promised)),
    )
    chosen: dict[Schedule, str] = {}
    for taste, each in tastes:
        chosen.setdefault(each.schedule, taste)
    for each in sorted(kept, key=cost):
        if len(chosen) < FEWEST:
            chosen.setdefault(each.schedule, "another way")
    return [_proposal(schedule, taste, futures, goal, limits) for schedule, taste in chosen.items()]


def _proposal(
    schedule: Schedule, taste: str, futures: Futures, goal: Goal, limits: Limits
) -> Proposal:
    predicted = predict(futures, schedule, goal, limits)
    kept = (
        f"in range {predicted.time_in_range:.0%} of the time, at least {predicted.promised:.0%} "
        f"with {goal.confidence:.0%} confidence"
    )
    if goal.dry_hours > 0.0:
        kept += f"; below {goal.dry_below:g} %RH for {predicted.dry_hours:.1f} h without a break"
    if not schedule:
        why = f"no misting at all: the air keeps by itself, {kept}"
    else:
        model = futures.model
        added = float(np.median([spray.seconds for spray in schedule])) * model.water.per_s
        why = f"{taste}: each misting brings {added:.1f} g/m3, {_gone(model)}; {kept}"
    return Proposal(schedule, predicted, goal, why)


def _gone(model: Model) -> str:
    """How fast a misting is gone, as far as that may be told."""
    rates = {"day": model.day, "night": model.night}
    told = " and ".join(
        f"{half_gone_min(rate.value):.0f} min by {phase}"
        for phase, rate in rates.items()
        if rate is not None
    )
    if not told:
        return "but how fast that is gone cannot be said"
    unknown = [phase for phase, rate in rates.items() if rate is None]
    without = f" (by {unknown[0]} that cannot be said)" if unknown else ""
    return f"half of which is gone after {told}{without}"


def _seconds(schedule: Schedule) -> float:
    return sum(spray.seconds for spray in schedule)
