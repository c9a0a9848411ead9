"""Proposals: the cheapest schedules that keep the goal, or why none can.

Nothing here drives a mister.
"""

from dataclasses import dataclass, replace

import numpy as np

from monitor.analysis.misting.prediction import Model, Prediction, predict
from monitor.analysis.misting.schedule import Goal, Limits, Schedule, from_steps
from monitor.analysis.misting.search import Candidate, Search

DRY_DAYS = 0.8
"""Share of the days that must dry out as long as they should."""
LOOKED_AT = 9
"""Schedules that are predicted in full."""
MARGIN = 0.02
"""What the coarse search may be wrong by."""


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
    search = Search(model, goal, limits)
    unmisted = search.unmisted()
    ladders = search.ladders()
    found = [unmisted, *(rung for ladder in ladders for rung in ladder)]
    promising = [
        each for each in found if each.inside >= goal.share - MARGIN and each.dry >= DRY_DAYS
    ]
    rated = []
    for candidate in _spread(promising):
        schedule = from_steps(search.polished(candidate).seconds, search.days.step_h)
        # The same luck for all, so that they differ by what they are.
        predicted = predict(model, schedule, goal, limits, np.random.default_rng(seed))
        if predicted.promised >= goal.share and _dries(predicted, goal):
            rated.append((schedule, predicted))
    if not rated:
        best = max(found, key=search.worth)
        says = _infeasible(model, goal, limits, unmisted, best, search, seed)
        return Plan((), says, from_steps(best.seconds, search.days.step_h))
    return Plan(tuple(_chosen(rated, model, goal)))


def _spread(candidates: list[Candidate]) -> list[Candidate]:
    """Those worth predicting: cheap ones by count and by water, and good ones, without repeats."""
    orders = (
        sorted(candidates, key=lambda each: (each.mistings, each.water)),
        sorted(candidates, key=lambda each: (each.water, each.mistings)),
        sorted(candidates, key=lambda each: (-round(each.inside, 2), each.water)),
    )
    chosen: list[Candidate] = []
    for rank in range(len(candidates)):
        for order in orders:
            if not any(order[rank] is each for each in chosen):
                chosen.append(order[rank])
    return chosen[:LOOKED_AT]


def _dries(predicted: Prediction, goal: Goal) -> bool:
    return goal.dry_hours <= 0.0 or predicted.dry_days >= DRY_DAYS


def _seconds(schedule: Schedule) -> float:
    return sum(spray.seconds for spray in schedule)


def _chosen(rated: list[tuple[Schedule, Prediction]], model: Model, goal: Goal) -> list[Proposal]:
    """One schedule for each taste, the cheapest first, then others by their cost."""
    least = max(
        1e-9,
        min(_seconds(schedule) for schedule, _ in rated if schedule)
        if any(schedule for schedule, _ in rated)
        else 1.0,
    )

    def cost(each: tuple[Schedule, Prediction]) -> float:
        return len(each[0]) + _seconds(each[0]) / least

    tastes = (
        ("the cheapest in mistings and water together", min(rated, key=cost)),
        ("the fewest mistings", min(rated, key=lambda each: (len(each[0]), _seconds(each[0])))),
        ("the least water", min(rated, key=lambda each: (_seconds(each[0]), len(each[0])))),
        ("the steadiest in range", max(rated, key=lambda each: each[1].promised)),
        ("the driest in between", max(rated, key=lambda each: each[1].dry_hours)),
        *(("another way", each) for each in sorted(rated, key=cost)),
    )
    proposals: list[Proposal] = []
    for taste, (schedule, predicted) in tastes:
        if len(proposals) >= 3 and taste == "another way":
            break
        if all(each.schedule != schedule for each in proposals):
            proposals.append(
                Proposal(schedule, predicted, goal, _why(taste, schedule, predicted, model, goal))
            )
    return proposals


def _why(taste: str, schedule: Schedule, predicted: Prediction, model: Model, goal: Goal) -> str:
    kept = (
        f"in range {predicted.time_in_range:.0%} of the time, at least {predicted.promised:.0%} "
        f"with {goal.confidence:.0%} confidence"
    )
    dried = (
        f"; below {goal.dry_below:g} %RH for {predicted.dry_hours:.1f} h without a break"
        if goal.dry_hours > 0.0
        else ""
    )
    if not schedule:
        return f"no misting at all: the air keeps by itself, {kept}{dried}"
    added = np.median([spray.seconds for spray in schedule]) * model.water.per_s
    day, night = (60.0 * np.log(2.0) / rate.value for rate in (model.fit.day, model.fit.night))
    return (
        f"{taste}: each misting brings {added:.1f} g/m3, half of which is gone after "
        f"{day:.0f} min by day and {night:.0f} min by night; {kept}{dried}"
    )


def _infeasible(
    model: Model,
    goal: Goal,
    limits: Limits,
    unmisted: Candidate,
    best: Candidate,
    search: Search,
    seed: int,
) -> str:
    """What stands in the way, with figures."""

    def predicted(seconds: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Prediction:
        schedule = from_steps(seconds, search.days.step_h)
        return predict(model, schedule, goal, limits, np.random.default_rng(seed))

    alone = predicted(unmisted.seconds)
    if alone.too_wet > 1.0 - goal.share:
        return (
            f"too wet by itself: without any misting the air is above the range "
            f"{alone.too_wet:.0%} of the time; ventilate more, or let the ground dry"
        )
    if not _dries(alone, goal):
        return (
            f"it does not dry out: even without misting the air is below {goal.dry_below:g} %RH "
            f"for only {alone.dry_hours:.1f} h without a break (wanted: {goal.dry_hours:g} h); "
            "ventilate more"
        )
    tried = predicted(best.seconds)
    many = f"{best.mistings} mistings a day" if best.mistings else "no schedule within the limits"
    reached = (
        f"the best found, {many}, keeps the range {tried.time_in_range:.0%} of the time and surely "
        f"{tried.promised:.0%} (wanted: {goal.share:.0%})"
    )
    free = Limits(limits.shortest_s, limits.longest_s, limits.step_s, limits.most_a_day)
    if limits.quiet or limits.only_lit or limits.only_dark:
        unbound = plan(model, goal, replace(free, flow_ml_per_s=limits.flow_ml_per_s), seed)
        if unbound.proposals:
            return (
                f"the hours without misting stand in the way: {reached}; without them it can be "
                "done"
            )
    if goal.dry_hours > 0.0:
        wet = plan(model, replace(goal, dry_hours=0.0), limits, seed)
        if wet.proposals:
            return (
                f"range and drying-out do not go together: {reached} with {tried.dry_hours:.1f} h "
                f"below {goal.dry_below:g} %RH; without the drying-out it can be done"
            )
    if tried.too_wet > tried.too_dry:
        return (
            f"the range is too narrow for mistings: {reached}, above it {tried.too_wet:.0%} and "
            f"below it {tried.too_dry:.0%} of the time; ventilate, or mist shorter and more often"
        )
    day = 60.0 * np.log(2.0) / model.fit.day.value
    return (
        f"the air dries too fast: half of a misting is gone after {day:.0f} min by day; {reached}, "
        f"below it {tried.too_dry:.0%} of the time. Mist alone will not do: cover part of the lid "
        "or wet the ground"
    )
