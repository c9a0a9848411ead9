"""The assessment in words, for a terminal, a printer, or a note beside the mister."""

import datetime as dt
from collections.abc import Iterator
from zoneinfo import ZoneInfo

from monitor.analysis.misting.assessment import Assessment
from monitor.analysis.misting.fit import Rate
from monitor.analysis.misting.followup import FollowUp
from monitor.analysis.misting.mistings import Source
from monitor.analysis.misting.plan import Proposal
from monitor.analysis.misting.prediction import Prediction
from monitor.analysis.misting.schedule import Goal, Schedule

CAUTION = (
    "A proposal from the log, not a command: nothing here drives a mister. Keep water off "
    "electrics, clean the nozzles, let the air move, and look at the animal."
)


def assessment_lines(found: Assessment, goal: Goal | None) -> Iterator[str]:
    """What was found, line by line."""
    if found.cannot is not None:
        yield f"cannot say, because {found.cannot}"
    if found.mistings:
        by_air = sum(each.source is Source.AIR for each in found.mistings)
        yield f"mistings: {len(found.mistings)}, {by_air} of them shown by the air alone"
    if found.cannot is not None:
        return
    for phase, rate in (("day", found.day), ("night", found.night)):
        yield f"apparent drying rate by {phase}: {_rate(rate)}"
    if found.asymptote is not None:
        yield (
            f"without misting the air goes to {found.asymptote.value:.1f} g/m3 "
            f"({found.asymptote.low:.1f} to {found.asymptote.high:.1f})"
        )
    if found.water is not None:
        yield (
            f"each second of misting brings {found.water.per_s:.2f} g/m3 "
            f"({found.water.low:.2f} to {found.water.high:.2f}), by {found.water.counted} mistings"
        )
    if found.backtest is not None:
        yield (
            f"back-test on the last {found.backtest.days:.0f} days: off by "
            f"{found.backtest.rh_mae:.1f} %RH on the mean, the usual day by "
            f"{found.backtest.rh_mae_by_hour_mean:.1f}"
        )
    yield from (f"note: {doubt.says}" for doubt in found.doubts)
    yield from (f"changed: {drift.says}" for drift in found.drifts)
    if goal is not None:
        yield f"goal: {goal_text(goal)}"
    cannot = found.plan_cannot if found.plan is None else found.plan.infeasible
    if cannot is not None:
        yield f"no plan, because {cannot}"
    if found.plan is not None:
        for number, proposal in enumerate(found.plan.proposals, 1):
            yield f"plan {number}: {schedule_text(proposal.schedule)}"
            yield f"  {proposal.why}"
            yield f"  {prediction_text(proposal.predicted)}"


def proposal_text(proposal: Proposal, name: str, zone: ZoneInfo, at_ms: int) -> str:
    """One proposal as a page to print."""
    made = dt.datetime.fromtimestamp(at_ms / 1000, zone)
    lines = [
        f"Misting plan for {name}",
        f"made {made:%Y-%m-%d %H:%M} ({zone.key}), times by the enclosure's clock",
        "",
        *(f"{spray.at:%H:%M}  {spray.seconds:5g} s" for spray in proposal.schedule),
        *([] if proposal.schedule else ["no misting"]),
        "",
        f"Goal: {goal_text(proposal.goal)}",
        f"Why: {proposal.why}",
        f"Predicted: {prediction_text(proposal.predicted)}",
        "",
        CAUTION,
        "",
    ]
    return "\n".join(lines)


def schedule_text(schedule: Schedule) -> str:
    """The runs of a day on one line."""
    if not schedule:
        return "no misting"
    return ", ".join(f"{spray.at:%H:%M} {spray.seconds:g} s" for spray in schedule)


def goal_text(goal: Goal) -> str:
    """What the air should keep to."""
    dried = (
        f", and below {goal.dry_below:g} % for {goal.dry_hours:g} h a day without a break"
        if goal.dry_hours > 0.0
        else ""
    )
    return (
        f"{goal.day.low:g} to {goal.day.high:g} %RH by day, {goal.night.low:g} to "
        f"{goal.night.high:g} by night, {goal.share:.0%} of the time{dried}"
    )


def prediction_text(predicted: Prediction) -> str:
    """What a schedule is predicted to give, on one line."""
    water = (
        f", {predicted.water_ml_per_day:.0f} ml of water a day"
        if predicted.water_ml_per_day is not None
        else ""
    )
    return (
        f"in range {predicted.time_in_range:.0%} (too dry {predicted.too_dry:.0%}, too wet "
        f"{predicted.too_wet:.0%}), near saturation {predicted.hours_near_saturation:.1f} h a day, "
        f"{predicted.longest_wet_h:.1f} h at a stretch{water}"
    )


def follow_up_lines(found: FollowUp, zone: ZoneInfo) -> Iterator[str]:
    """What came of the schedule that was taken."""
    since = dt.datetime.fromtimestamp(found.taken.at_ms / 1000, zone)
    yield f"plan taken {since:%Y-%m-%d}: {schedule_text(found.taken.schedule)}"
    yield f"  {found.says}" if found.cannot is None else f"  cannot say, because {found.cannot}"


def _rate(rate: Rate | None) -> str:
    if rate is None:
        return "not known"
    return f"{rate.value:.2f} per hour ({rate.low:.2f} to {rate.high:.2f})"
