"""Why no schedule keeps a goal, with figures, and what would help."""

from dataclasses import replace

from monitor.analysis.misting.balance import half_gone_min, train
from monitor.analysis.misting.futures import Futures, Model
from monitor.analysis.misting.prediction import outlook, predict
from monitor.analysis.misting.rating import DRY_DAYS, feasible
from monitor.analysis.misting.schedule import Goal, Limits, Schedule
from monitor.analysis.misting.search import Search

UNSURE = "days differ too much to promise it"
"""How the reason begins where a goal may be kept, but nothing can be promised."""


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
    sure = outlook(futures, best, goal).promised
    many = f"{len(best)} mistings a day" if best else "no misting"
    reached = (
        f"the best found, {many}, keeps the range {tried.time_in_range:.0%} of the time, but "
        f"surely only {sure:.0%} (wanted: {goal.share:.0%})"
    )
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
    if tried.time_in_range >= goal.share:
        return f"{UNSURE}: {reached}. It may well do: try it, and look at what comes of it"
    if tried.too_wet > tried.too_dry:
        return (
            f"the range is too narrow for mistings: {reached}, above it {tried.too_wet:.0%} and "
            f"below it {tried.too_dry:.0%} of the time; ventilate, or mist shorter and more often"
        )
    gone = (
        f"half of a misting is gone after {half_gone_min(model.day.value):.0f} min by day, and "
        if model.day is not None
        else ""
    )
    return (
        f"the air dries too fast: {gone}{limits.most_a_day} mistings of "
        f"{limits.longest_s:g} s, evenly spread, would hold {_held(model, limits):.0f} %RH by day; "
        f"{reached}, below it {tried.too_dry:.0%} of the time. Mist alone will not do: cover part "
        "of the lid or wet the ground"
    )


def _held(model: Model, limits: Limits) -> float:
    """Mean humidity by day that the mister at its limits would hold all day and night, %RH."""
    lit, days = model.days.lit, model.days
    if not lit.any():
        lit = ~lit
    asymptote, saturated = float(days.asymptote[lit].mean()), float(days.saturated[lit].mean())
    every_h = 24.0 / max(1, limits.most_a_day)
    added = limits.longest_s * model.water.per_s
    mean = train(added, every_h, asymptote, model.fit.day.value).mean
    return min(100.0, 100.0 * mean / saturated)
