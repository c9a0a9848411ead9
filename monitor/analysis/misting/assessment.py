"""The whole assessment: mistings, drying rate, dose, back-test, proposals, and what is in doubt."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitor.analysis.misting.backtest import Backtest, backtest
from monitor.analysis.misting.climate import Climate, Column, Grid, Times, on_grid
from monitor.analysis.misting.days import midnights, whole_days
from monitor.analysis.misting.detection import seen as seen_in_air
from monitor.analysis.misting.doubts import Doubt, doubts, rate_doubt
from monitor.analysis.misting.drift import Changed, Drift, drifts
from monitor.analysis.misting.fit import Fit, Rate, fit
from monitor.analysis.misting.futures import Model
from monitor.analysis.misting.lag import UNKNOWN_LAG, Lag, probe_lag
from monitor.analysis.misting.mistings import Merged, Misting, Reported, merge, with_seconds
from monitor.analysis.misting.observation import filled, observe, part
from monitor.analysis.misting.obstacles import decays, undecayed, unmisted, unreadable
from monitor.analysis.misting.plan import Plan, plan
from monitor.analysis.misting.schedule import Goal, Limits
from monitor.analysis.misting.state_space import Observed, smoothed
from monitor.analysis.misting.water import Dose, Water, doses, per_second
from monitor.setup.daylight import Daylight
from monitor.times import DAY_MS

DAYS = 14
STEP_S = 300.0
LAG_STEP_S = 120.0
HELD_OUT_DAYS = 3
HELD_OUT_SHARE = 0.25
"""Of a shorter record."""
OUTLIER = 5.5
"""Standardised innovation from which a reading is left out, with what follows in a quarter hour."""
WORST_RH_MAE = 5.0
"""Error of the back-test beyond which no plan is made, %RH."""
FINE_RH_MAE, WORSE_THAN_USUAL = 2.0, 2.0
"""Beyond the first, so many times the error of the usual day's course is too much as well."""
FEWEST_WHOLE_DAYS = 2


@dataclass(frozen=True, slots=True)
class Asymptote:
    """Content the air goes to without misting, g/m3: mean, and where it is 90 % of the time."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class Residuals:
    """What the balance did not foresee, reading by reading: epoch ms, standard deviations."""

    at_ms: Times
    value: Column


@dataclass(frozen=True, slots=True, eq=False)
class Assessment:
    """All there is to say of an enclosure's misting at one time.

    ``cannot`` says why there is nothing; else the parts that are missing are explained by
    ``doubts`` (the rates) and ``plan_cannot`` (the plan).
    """

    at_ms: int
    cannot: str | None
    mistings: tuple[Misting, ...] = ()
    day: Rate | None = None
    night: Rate | None = None
    asymptote: Asymptote | None = None
    water: Water | None = None
    backtest: Backtest | None = None
    plan: Plan | None = None
    plan_cannot: str | None = None
    doubts: tuple[Doubt, ...] = ()
    drifts: tuple[Drift, ...] = ()
    lag: Lag = UNKNOWN_LAG
    residuals: Residuals | None = None
    model: Model | None = None


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    fit: Fit
    seen: Observed
    content: Column
    slow: Column
    doses: list[Dose]
    timed: list[Dose]
    """Those of mistings whose length is known."""
    water: Water | None


def find(
    climate: Climate,
    reported: Sequence[Reported],
    daylight: Daylight,
    rejected: Collection[int] = (),
) -> Merged:
    """The mistings alone: those reported and those that show in the air."""
    return merge(seen_in_air(climate, daylight).rises, reported, rejected)


def assess(
    climate: Climate,
    room: Climate | None,
    reported: Sequence[Reported],
    daylight: Daylight,
    at_ms: int,
    goal: Goal | None = None,
    limits: Limits | None = None,
    *,
    volume_l: float | None = None,
    rejected: Collection[int] = (),
    days: int = DAYS,
    seed: int = 0,
) -> Assessment:
    """Assess the misting of one enclosure from the days before ``at_ms``.

    Args:
        climate: a probe in the enclosure's air, not bad readings.
        room: the probe in the room's air, where there is one.
        reported: mistings told by the mister or in the journal.
        daylight: the enclosure's lamp timer, with its time zone.
        at_ms: as of when; later readings are not looked at.
        goal: what the air should keep to; None: no plan is made.
        limits: of the mister; default: those of :class:`Limits`.
        volume_l: of the enclosure, for the water in millilitres.
        rejected: times at which the keeper says there was no misting.
        days: how many to look back.
        seed: of the draws behind the predictions.
    """
    start_ms = midnights(at_ms - days * DAY_MS, at_ms, daylight.zone)[0]
    climate = climate.between(start_ms, at_ms)
    cannot = unreadable(climate, start_ms, at_ms)
    if cannot is not None:
        return Assessment(at_ms, cannot)
    found = seen_in_air(climate, daylight)
    reported = [each for each in reported if start_ms <= each.at_ms < at_ms]
    merged = merge(found.rises, reported, rejected)
    cannot = unmisted(merged)
    if cannot is not None:
        return Assessment(at_ms, cannot, merged.mistings)
    if room is not None:
        room = room.between(start_ms, at_ms)
        room = room if len(room) else None
    timed = {each.at_ms for each in merged.mistings if each.seconds}
    mistings = with_seconds(merged.mistings)
    grid = on_grid(climate, room, daylight, start_ms, at_ms, STEP_S)
    seen = observe(grid, mistings, found.losses)
    cannot = undecayed(grid, seen, mistings)
    if cannot is not None:
        return Assessment(at_ms, cannot, merged.mistings)

    first = int(np.flatnonzero(grid.count)[0])
    length = (len(grid) - first) * grid.step_ms / DAY_MS
    held_out = min(HELD_OUT_DAYS * DAY_MS, HELD_OUT_SHARE * length * DAY_MS)
    cut = len(grid) - round(held_out / grid.step_ms)
    before = _fitted(grid, part(seen, 0, cut), mistings, timed, None)
    tested = None
    if before.water is not None:
        tested = backtest(grid, seen, cut, before.fit, before.water, before.content, before.slow)
    whole = _fitted(grid, seen, mistings, timed, before.fit)
    fine = on_grid(climate, None, daylight, start_ms, at_ms, LAG_STEP_S)
    lag = probe_lag(fine, mistings, found.losses)
    signs = doubts(whole.fit, whole.seen, lag, whole.doses, whole.timed, whole.water)
    asymptote = whole.seen.drivers @ whole.fit.coefficients[1:] + whole.slow
    middle_ms = int(grid.at_ms[first] + length * DAY_MS / 2)
    changed = drifts(
        part(whole.seen, first, len(grid)),
        whole.fit,
        asymptote[first:],
        whole.timed,
        middle_ms,
    )
    spoiled = any(sign.spoils for sign in signs) or _faster_or_slower(changed)
    by_day, by_night = decays(grid, seen, mistings)
    unsure = (
        rate_doubt(whole.fit.day, "day", by_day),
        rate_doubt(whole.fit.night, "night", by_night),
    )
    low, high = np.quantile(asymptote, [0.05, 0.95])
    assessment = Assessment(
        at_ms=at_ms,
        cannot=None,
        mistings=merged.mistings,
        day=None if spoiled or unsure[0] is not None else whole.fit.day,
        night=None if spoiled or unsure[1] is not None else whole.fit.night,
        asymptote=Asymptote(float(asymptote.mean()), float(low), float(high)),
        water=whole.water,
        backtest=tested,
        doubts=(*signs, *(doubt for doubt in unsure if doubt is not None)),
        drifts=tuple(changed),
        lag=lag,
        residuals=Residuals(grid.at_ms[whole.fit.bins], whole.fit.residuals),
    )
    return _with_plan(
        assessment, grid, whole, asymptote, daylight, goal, limits or Limits(), volume_l, seed
    )


def _faster_or_slower(changed: Sequence[Drift]) -> bool:
    return any(drift.changed is Changed.RATE for drift in changed)


def _fitted(
    grid: Grid,
    seen: Observed,
    mistings: Sequence[Misting],
    timed: Collection[int],
    start: Fit | None,
) -> _Fitted:
    found = fit(seen, start)
    wrong = found.bins[np.abs(found.residuals) > OUTLIER]
    if len(wrong):
        seen = _without(seen, wrong)
        found = fit(seen, found)
    content, slow = smoothed(seen, found.rates, found.coefficients)
    measured = doses(grid, seen, found, content, slow, mistings)
    known = [dose for dose in measured if dose.misting.at_ms in timed]
    return _Fitted(found, seen, content, slow, measured, known, per_second(known, found))


def _without(seen: Observed, wrong: Times) -> Observed:
    """The record without some bins: something came over the air that is not in the balance."""
    valid, anew = seen.valid.copy(), seen.anew.copy()
    for offset in range(3):
        here = np.minimum(wrong + offset, len(seen) - 1)
        valid[here] = False
        anew[here] = True
    return replace(seen, valid=valid, anew=anew)


def _with_plan(
    assessment: Assessment,
    grid: Grid,
    whole: _Fitted,
    asymptote: Column,
    daylight: Daylight,
    goal: Goal | None,
    limits: Limits,
    volume_l: float | None,
    seed: int,
) -> Assessment:
    days = whole_days(grid, filled(grid.temperature), asymptote, daylight.zone)
    cannot = _unplannable(assessment, len(days), goal)
    if cannot is not None or whole.water is None or goal is None:
        return replace(assessment, plan_cannot=cannot)
    model = Model(whole.fit, whole.water, days, assessment.day, assessment.night, volume_l)
    return replace(assessment, model=model, plan=plan(model, goal, limits, seed))


def _unplannable(assessment: Assessment, days: int, goal: Goal | None) -> str | None:
    tested = assessment.backtest
    if assessment.water is None or tested is None:
        return (
            "how long the mister runs is not known for enough mistings; log the seconds, or let it "
            "report its end"
        )
    if assessment.water.per_s <= 0.0:
        return "the mistings that were timed brought no vapour that could be measured"
    if _faster_or_slower(assessment.drifts):
        return (
            "the air came to dry otherwise within the record, so that no plan fits all of it; see "
            "what changed, and ask again when the new state has lasted for two weeks"
        )
    if tested.rh_mae > WORST_RH_MAE:
        return (
            f"the balance misses the last {tested.days:.0f} days by {tested.rh_mae:.1f} %RH on the "
            f"mean, more than {WORST_RH_MAE:g}: something else moves this air"
        )
    if tested.rh_mae > max(FINE_RH_MAE, WORSE_THAN_USUAL * tested.rh_mae_by_hour_mean):
        return (
            f"the balance misses the last {tested.days:.0f} days by {tested.rh_mae:.1f} %RH on the "
            f"mean, the usual course of a day only by {tested.rh_mae_by_hour_mean:.1f}: what moves "
            "this air is not understood well enough"
        )
    if days < FEWEST_WHOLE_DAYS:
        return f"only {days} whole days were logged; it takes {FEWEST_WHOLE_DAYS}"
    if goal is None:
        return "no humidity range is known for this enclosure; name its inhabitants, or set a range"
    return None
