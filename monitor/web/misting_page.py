"""The misting page: a plan out of the log, what it rests on, and whether the last one worked."""

import datetime as dt
from collections.abc import Sequence
from typing import Annotated, NamedTuple

from fastapi import APIRouter, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import ValidationError

from monitor.analysis.misting import Assessment, Misting, Prediction, Proposal, Schedule
from monitor.analysis.misting.balance import half_gone_min
from monitor.analysis.misting.fit import Rate
from monitor.analysis.misting.mistings import Source as Known
from monitor.analysis.misting.text import goal_text
from monitor.api.access import MayOperate, MayView
from monitor.api.misting import ROUNDED_MS
from monitor.api.parts import GivenParts, Parts
from monitor.jobs.misting import MistingReport
from monitor.quantities import Quantity
from monitor.setup.journal import ENTRY, Source
from monitor.setup.models import Enclosure
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS, rfc3339
from monitor.web import misting_words, words
from monitor.web.charts.course import Course, Record, course
from monitor.web.charts.misting import Leftover, leftover, misted_day, trade_off
from monitor.web.charts.scale import Tick, linear, time_ticks
from monitor.web.charts.wanted import Part
from monitor.web.climate import enclosure_of, named
from monitor.web.guard import Page
from monitor.web.shell import GivenForm, Place, page
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)

SHOWN_DAYS = 4
"""Over more, single mistings cannot be told apart."""
POINTS = 576
LISTED = 24
"""So many mistings that not both sources know are listed, the newest first."""
_SEE_OTHER = 303


class Offer(NamedTuple):
    """A plan as it is offered; ``times`` are what its form carries."""

    number: int
    name: str
    when: Sequence[str]
    why: str
    figures: Sequence[str]
    times: Sequence[str]
    calendar: str
    text: str
    here: bool


class Found(NamedTuple):
    """One misting; ``at`` is its place on the course in percent, None if it is not on it."""

    at_ms: int
    when: str
    says: str
    by_air: bool
    seen: bool
    """Whether the air shows it."""
    at: float | None


class Waters(NamedTuple):
    """The course of the water in the air with the mistings on it."""

    title: str
    course: Course
    ticks: Sequence[Tick]
    marks: Sequence[Found]


@router.get("/enclosures/{enclosure}/misting")
def misting(
    request: Request,
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    plan: Annotated[int, Query(ge=1, le=99)] = 1,
) -> HTMLResponse:
    """What to do, what would come of it, what it rests on, and what stands in the way."""
    place = enclosure_of(parts, enclosure)
    at_ms = parts.clock() // ROUNDED_MS * ROUNDED_MS
    report = parts.misting.report(enclosure, at_ms)
    found = report.assessment
    proposals = () if found.plan is None else found.plan.proposals
    chosen = proposals[min(plan, len(proposals)) - 1] if proposals else None
    nearest = found.plan.best if found.plan is not None and chosen is None else None
    schedule = chosen.schedule if chosen is not None else nearest
    predicted = None
    if chosen is not None:
        predicted = chosen.predicted
    elif nearest is not None:
        predicted = report.predict(nearest)
    number = min(plan, len(proposals))
    offers = [_offer(each, n, n == number, place, at_ms) for n, each in enumerate(proposals, 1)]
    names = misting_words.PLAN_NUMBER.format(number) if chosen else misting_words.NEAREST
    mistings = [_found(each, place, at_ms) for each in reversed(found.mistings)]
    return page(
        request,
        "misting.html",
        here="misting",
        place=Place(place.id, place.name),
        says=misting_words,
        title=_title(found, chosen),
        cannot=found.cannot and misting_words.told(found.cannot),
        no_plan=misting_words.told(
            (found.plan_cannot if found.plan is None else found.plan.infeasible) or ""
        ),
        goal=None if report.goal is None else misting_words.told(goal_text(report.goal)),
        probe=None if report.probe is None else named(place, report.probe),
        as_of=words.moment(dt.datetime.fromtimestamp(at_ms / 1000, place.zone_info), None),
        taken=_taken(report, place),
        offers=offers,
        rows=list(zip(misting_words.FIGURES.values(), *(o.figures for o in offers), strict=True)),
        traded=_traded(proposals),
        schedule=None if schedule is None else _said(schedule),
        nearest=nearest is not None,
        day=None
        if predicted is None or report.goal is None or schedule is None
        else misted_day(predicted, report.goal, schedule, (place.lights_on, place.lights_off)),
        day_says="" if predicted is None else _day_says(predicted, names),
        behaves=[*_behaves(found)],
        rates=_rates(found),
        doubts=[_sentence(each.says) for each in found.doubts],
        drifts=[_sentence(each.says) for each in found.drifts],
        leftover=_leftover(found),
        waters=_waters(parts, report, mistings, viewer_of(request).units),
        mistings_say=misting_words.NO_MISTINGS
        if not mistings
        else misting_words.FOUND.format(len(mistings), sum(each.by_air for each in mistings)),
        unsure=[each for each in mistings if each.by_air or not each.seen][:LISTED],
    )


@router.post("/enclosures/{enclosure}/misting/take")
def take(enclosure: str, parts: GivenParts, _who: MayOperate, form: GivenForm) -> RedirectResponse:
    """Write down that from now on it is misted by a plan that was shown."""
    times = []
    for each in form.all("time"):
        at, _, seconds = each.partition(" ")
        times.append({"at": at, "seconds": seconds})
    # As of the assessment that was shown, so that the page which follows knows of it.
    at_ms = parts.clock() // ROUNDED_MS * ROUNDED_MS
    _write(parts, enclosure, {"kind": "misting_plan", "times": times, "at": at_ms})
    return RedirectResponse(f"/enclosures/{enclosure}/misting#taken", _SEE_OTHER)


@router.post("/enclosures/{enclosure}/misting/found")
def settle(
    enclosure: str, parts: GivenParts, _who: MayOperate, form: GivenForm
) -> RedirectResponse:
    """Say of what the air shows that it was a misting, or that it was none."""
    kind = "misted" if form.text("is") == "misted" else "not_misted"
    at = form.text("at")
    _write(parts, enclosure, {"kind": kind, "at": int(at) if at.isdigit() else at})
    return RedirectResponse(f"/enclosures/{enclosure}/misting#mistings", _SEE_OTHER)


def _write(parts: Parts, enclosure: str, told: dict[str, object]) -> None:
    enclosure_of(parts, enclosure)
    try:
        entry = ENTRY.validate_python(told)
    except ValidationError as exc:
        raise HTTPException(422, misting_words.WRONG_TIMES) from exc
    with parts.database.transaction() as connection:
        journal.add(connection, enclosure, entry, Source.KEEPER, parts.clock())


def _sentence(says: str) -> str:
    return words.capital(misting_words.told(says)).rstrip(".") + "."


def _title(found: Assessment, chosen: Proposal | None) -> str:
    if found.cannot is not None:
        return misting_words.CANNOT_TITLE
    if chosen is None:
        return misting_words.NO_PLAN_TITLE
    if not chosen.schedule:
        return misting_words.NO_MISTING_TITLE
    return misting_words.PLAN_TITLE.format(
        misting_words.often(len(chosen.schedule)), _seconds(chosen.schedule)
    )


def _seconds(schedule: Schedule) -> float:
    return sum(spray.seconds for spray in schedule)


def _said(schedule: Schedule) -> list[str]:
    told = [misting_words.AT.format(f"{each.at:%H:%M}", each.seconds) for each in schedule]
    return told or [misting_words.NO_MISTING]


def _offer(each: Proposal, number: int, here: bool, place: Enclosure, at_ms: int) -> Offer:
    predicted = each.predicted
    water = (
        misting_words.WATER_BY_AIR.format(predicted.water_g_m3)
        if predicted.water_ml_per_day is None
        else misting_words.WATER.format(predicted.water_ml_per_day)
    )
    figures = [
        *(misting_words.SHARE.format(100 * getattr(predicted, name)) for name in _SHARES),
        *(misting_words.HOURS.format(getattr(predicted, name)) for name in _HOURS),
        water,
    ]
    # As of the same time, so that the number means the same plan.
    same = f"number={number}&at={rfc3339(at_ms)}"
    api = f"/api/v1/enclosures/{place.id}/misting/plan"
    return Offer(
        number,
        misting_words.PLAN.format(number),
        _said(each.schedule),
        words.capital(misting_words.told(each.why)),
        figures,
        [f"{spray.at:%H:%M} {spray.seconds:g}" for spray in each.schedule],
        f"{api}.ics?{same}",
        f"{api}.txt?{same}",
        here,
    )


_SHARES = ("promised", "time_in_range", "too_dry", "too_wet")
_HOURS = ("hours_near_saturation", "longest_wet_h", "dry_hours")


def _traded(proposals: Sequence[Proposal]) -> dict[str, object] | None:
    """The trade-off between plans, where there is more than one."""
    if len(proposals) < 2:
        return None
    points = [(_seconds(each.schedule), each.predicted.promised) for each in proposals]
    told = [
        misting_words.TRADED.format(number, seconds, 100 * share)
        for number, (seconds, share) in enumerate(points, 1)
    ]
    return {
        "drawn": trade_off(points),
        "says": misting_words.TRADE_OFF.format(words.listed(told)),
    }


def _day_says(predicted: Prediction, name: str) -> str:
    middle = predicted.humidity.middle
    step_min = 1440 / len(middle)

    def when(step: int) -> str:
        minutes = int((step + 0.5) * step_min)
        return f"{minutes // 60:02d}:{minutes % 60:02d}"

    low, high = int(middle.argmin()), int(middle.argmax())
    return misting_words.DAY.format(
        name, float(middle[low]), when(low), float(middle[high]), when(high)
    )


def _behaves(found: Assessment) -> list[str]:
    """How its air behaves, in plain sentences."""
    if found.cannot is not None:
        return []
    told = []
    for phase, rate in zip(misting_words.PHASES, (found.day, found.night), strict=True):
        told.append(
            misting_words.GONE_UNKNOWN.format(phase)
            if rate is None
            else misting_words.GONE.format(
                phase, *map(half_gone_min, (rate.value, rate.high, rate.low))
            )
        )
    if found.asymptote is not None:
        each = found.asymptote
        told.append(misting_words.ASYMPTOTE.format(each.value, each.low, each.high))
    if found.water is not None:
        water = found.water
        told.append(misting_words.DOSE.format(water.per_s, water.low, water.high, water.counted))
    if found.backtest is not None:
        test = found.backtest
        told.append(misting_words.BACKTEST.format(test.days, test.rh_mae, test.rh_mae_by_hour_mean))
    return told


def _rates(found: Assessment) -> list[str]:
    rates: list[tuple[str, Rate | None]] = [("by day", found.day), ("by night", found.night)]
    return [
        misting_words.RATE.format(phase, rate.value, rate.low, rate.high)
        for phase, rate in rates
        if rate is not None
    ]


def _leftover(found: Assessment) -> tuple[Leftover, str] | None:
    if found.residuals is None or not len(found.residuals.at_ms):
        return None
    at_ms = found.residuals.at_ms
    drawn = leftover(at_ms, found.residuals.value, int(at_ms[0]), found.at_ms)
    return drawn, misting_words.RESIDUALS.format(100 * drawn.within, drawn.count)


def _found(each: Misting, place: Enclosure, end_ms: int) -> Found:
    when = dt.datetime.fromtimestamp(each.at_ms / 1000, place.zone_info)
    told = [misting_words.BY[each.source].format(100 * each.confidence)]
    if each.seconds is not None:
        told.append(misting_words.LASTED.format(each.seconds))
    told.append(
        misting_words.NOT_SEEN if each.rise is None else misting_words.ROSE.format(each.rise)
    )
    start_ms = end_ms - SHOWN_DAYS * DAY_MS
    at = linear(start_ms, end_ms, 0, 100)(each.at_ms) if each.at_ms >= start_ms else None
    return Found(
        each.at_ms,
        words.moment(when, None),
        ", ".join(told),
        each.source is Known.AIR,
        each.rise is not None,
        at,
    )


def _waters(
    parts: Parts, report: MistingReport, mistings: Sequence[Found], units: Units
) -> Waters | None:
    place, probe, end_ms = report.enclosure, report.probe, report.assessment.at_ms
    if probe is None:
        return None
    quantity, start_ms = Quantity.VAPOUR_PRESSURE, end_ms - SHOWN_DAYS * DAY_MS
    key = SeriesKey(place.id, probe.id, quantity)
    buckets = parts.readings.buckets(key, start_ms, end_ms, POINTS)
    if not len(buckets.at_ms):
        return None
    record = Record(probe, named(place, probe), buckets, [Part(start_ms, end_ms, None, None)])
    return Waters(
        misting_words.COURSE.format(SHOWN_DAYS),
        course([record], quantity, start_ms, end_ms, place.timezone, units),
        time_ticks(place.zone_info, start_ms, end_ms, SHOWN_DAYS),
        [each for each in mistings if each.at is not None],
    )


def _taken(report: MistingReport, place: Enclosure) -> dict[str, str] | None:
    """The plan that was taken last, and what came of it."""
    found = report.follow_up
    if found is None:
        return None
    since = dt.datetime.fromtimestamp(found.taken.at_ms / 1000, place.zone_info)
    return {
        "plan": misting_words.TAKEN.format(
            words.day(since.date()), words.listed(_said(found.taken.schedule))
        ),
        "cannot": found.cannot or "",
        "says": _sentence(found.says) if found.says else "",
    }
