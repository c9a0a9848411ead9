"""Why no schedule keeps a goal, with figures, and what would help."""

from dataclasses import replace

import numpy as np

from monitor.analysis.misting.futures import Futures
from monitor.analysis.misting.prediction import Prediction, predict
from monitor.analysis.misting.rating import DRY_DAYS, feasible
from monitor.analysis.misting.schedule import Goal, Limits, Schedule
from monitor.analysis.misting.search import Search


def hindrance(futures: Futures, goal: Goal, limits: Limits, best: Schedule) -> str:
    """What stands in the way of a goal that no schedule was found to keep.

    Args:
        futures: of the enclosure.
        goal: what the air should keep to.
        limits: of the mister and of the keeper.
        best: the schedule that came nearest.
    """
    alone = predict(futures, (), goal, limits)
    if alone.too_wet > 1.0 - goal.share:
        return (
            "too wet by itself: without any misting the air is above the range "
            f"{alone.too_wet:.0%} of the time; ventilate more, or let the ground dry"
        )
    if goal.dry_hours > 0.0 and alone.dry_days < DRY_DAYS:
        return (
            f"it does not dry out: even without misting the air is below {goal.dry_below:g} %RH "
            f"for {goal.dry_hours:g} h without a break on only {alone.dry_days:.0%} of the days; "
            "ventilate more"
        )
    tried = predict(futures, best, goal, limits)
    reached = _reached(tried, len(best), goal)
    model = futures.model
    if limits.quiet or limits.only_lit or limits.only_dark:
        free = replace(limits, quiet=(), only_lit=False, only_dark=False)
        if feasible(futures, goal, Search(model, goal, free)):
            return f"the hours without misting stand in the way: {reached}; without them it works"
    if goal.dry_hours > 0.0:
        wet = replace(goal, dry_hours=0.0)
        if feasible(futures, wet, Search(model, wet, limits)):
            return (
                f"range and drying-out do not go together: {reached} with {tried.dry_hours:.1f} h "
                f"below {goal.dry_below:g} %RH; without the drying-out it works"
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


def _reached(tried: Prediction, mistings: int, goal: Goal) -> str:
    many = f"{mistings} mistings a day" if mistings else "no misting"
    return (
        f"the best found, {many}, keeps the range {tried.time_in_range:.0%} of the time and surely "
        f"{tried.promised:.0%} (wanted: {goal.share:.0%})"
    )
