"""The assessment as the API and ``--json`` give it.

Contents are g/m3, shares 0 to 1, times RFC 3339; what is not known is null.
"""

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np

from monitor.analysis.misting.assessment import Assessment, Asymptote
from monitor.analysis.misting.climate import Column
from monitor.analysis.misting.fit import Rate
from monitor.analysis.misting.followup import Change, FollowUp
from monitor.analysis.misting.mistings import Misting
from monitor.analysis.misting.plan import Plan, Proposal
from monitor.analysis.misting.prediction import Band, Prediction
from monitor.analysis.misting.schedule import Goal, Schedule, Span
from monitor.times import rfc3339

RESIDUALS_EVERY = 3
"""One in so many residuals is told: a quarter of an hour."""


def assessment_wire(found: Assessment) -> dict[str, Any]:
    """All that an assessment says."""
    return {
        "at": rfc3339(found.at_ms),
        "cannot": found.cannot,
        "drying_rate_per_h": {"day": _interval(found.day), "night": _interval(found.night)},
        "wet_asymptote_g_m3": _interval(found.asymptote),
        "added_g_m3_per_s": None
        if found.water is None
        else {
            "value": _round(found.water.per_s),
            "low": _round(found.water.low),
            "high": _round(found.water.high),
            "scatter": _round(found.water.scatter, 2),
            "mistings": found.water.counted,
        },
        "doubts": [
            {"about": doubt.sign.value, "says": doubt.says, "spoils": doubt.spoils}
            for doubt in found.doubts
        ],
        "drifts": [
            {"changed": drift.changed.value, **_interval_of(drift.ratio, drift), "says": drift.says}
            for drift in found.drifts
        ],
        "backtest": None
        if found.backtest is None
        else {
            "days": _round(found.backtest.days, 1),
            "rh_mae": _round(found.backtest.rh_mae, 2),
            "rh_bias": _round(found.backtest.rh_bias, 2),
            "rh_mae_by_hour_mean": _round(found.backtest.rh_mae_by_hour_mean, 2),
        },
        "residuals": _residuals(found),
        "mistings": [misting_wire(each) for each in found.mistings],
        **plan_wire(found.plan, found.plan_cannot),
    }


def misting_wire(misting: Misting) -> dict[str, Any]:
    """One misting that was found."""
    return {
        "at": rfc3339(misting.at_ms),
        "seconds": misting.seconds,
        "source": misting.source.value,
        "confidence": _round(misting.confidence, 2),
        "rise_g_m3": _round(misting.rise, 2),
        "halved_after_s": _round(misting.halved_after_s, 0),
    }


def plan_wire(plan: Plan | None, cannot: str | None) -> dict[str, Any]:
    """Proposals, or why there are none."""
    return {
        "plan_cannot": cannot if plan is None else plan.infeasible,
        "plans": [] if plan is None else [proposal_wire(each) for each in plan.proposals],
        "nearest": None if plan is None or plan.best is None else schedule_wire(plan.best),
    }


def schedule_wire(schedule: Schedule) -> list[dict[str, Any]]:
    """The mistings of a day."""
    return [{"at": f"{spray.at:%H:%M}", "seconds": spray.seconds} for spray in schedule]


def prediction_wire(predicted: Prediction, *, bands: bool) -> dict[str, Any]:
    """What a schedule is predicted to give; ``bands``: with the courses through the day."""
    told: dict[str, Any] = {
        "time_in_range": _round(predicted.time_in_range),
        "promised": _round(predicted.promised),
        "too_dry": _round(predicted.too_dry),
        "too_wet": _round(predicted.too_wet),
        "hours_near_saturation": _round(predicted.hours_near_saturation, 2),
        "longest_wet_h": _round(predicted.longest_wet_h, 2),
        "dry_hours": _round(predicted.dry_hours, 2),
        "dry_days": _round(predicted.dry_days, 2),
        "water_g_m3": _round(predicted.water_g_m3, 1),
        "water_ml_per_day": _round(predicted.water_ml_per_day, 1),
    }
    if bands:
        told["course"] = {
            "step_min": 1440 // len(predicted.humidity.middle),
            "humidity": _band(predicted.humidity, 1),
            "vapour_pressure_deficit": _band(predicted.deficit, 3),
        }
    return told


def goal_wire(goal: Goal | None) -> dict[str, Any] | None:
    """What the air should keep to."""
    if goal is None:
        return None
    return {
        "day": _span(goal.day),
        "night": _span(goal.night),
        "dry_below": goal.dry_below if goal.dry_hours > 0.0 else None,
        "dry_hours": goal.dry_hours,
        "share": goal.share,
        "confidence": goal.confidence,
    }


def follow_up_wire(found: FollowUp) -> dict[str, Any]:
    """What came of a schedule."""
    changes: Mapping[str, Change | None] = {
        "time_in_range": found.time_in_range,
        "hours_near_saturation": found.near_saturation_h,
        "dry_hours": found.dry_h,
    }
    return {
        "since": rfc3339(found.taken.at_ms),
        "times": schedule_wire(found.taken.schedule),
        "cannot": found.cannot,
        "pairs": found.pairs,
        **{name: None if each is None else _change(each) for name, each in changes.items()},
        "says": found.says or None,
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        name: _round(getattr(change, name))
        for name in ("before", "after", "difference", "low", "high")
    }


def proposal_wire(proposal: Proposal) -> dict[str, Any]:
    """One proposal."""
    return {
        "times": schedule_wire(proposal.schedule),
        "predicted": prediction_wire(proposal.predicted, bands=False),
        "why": proposal.why,
    }


def _residuals(found: Assessment) -> dict[str, Any] | None:
    if found.residuals is None:
        return None
    at_ms = found.residuals.at_ms[::RESIDUALS_EVERY].tolist()
    value = np.round(found.residuals.value[::RESIDUALS_EVERY], 2).tolist()
    return {
        "columns": ["at", "sd"],
        "points": [list(row) for row in zip(at_ms, value, strict=True)],
    }


class _Interval(Protocol):
    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...


def _interval(found: Rate | Asymptote | None) -> dict[str, Any] | None:
    return None if found is None else _interval_of(found.value, found)


def _interval_of(value: float, found: _Interval) -> dict[str, Any]:
    return {"value": _round(value), "low": _round(found.low), "high": _round(found.high)}


def _band(band: Band, digits: int) -> dict[str, list[float]]:
    def listed(column: Column) -> list[float]:
        values: list[float] = np.round(column, digits).tolist()
        return values

    return {"middle": listed(band.middle), "low": listed(band.low), "high": listed(band.high)}


def _span(span: Span) -> list[float]:
    return [span.low, span.high]


def _round(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(value, digits)
