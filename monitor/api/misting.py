"""Misting: what was found, what it did, and what is proposed."""

from enum import StrEnum
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Response

from monitor.analysis.misting.text import proposal_text
from monitor.analysis.misting.wire import (
    goal_wire,
    misting_wire,
    prediction_wire,
    proposal_wire,
    schedule_wire,
)
from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.api.spans import Instant
from monitor.jobs.misting import MistingReport, schedule_of, wire
from monitor.setup.journal import MistingTimes
from monitor.setup.models import Model
from monitor.times import MINUTE_MS, rfc3339

router = APIRouter(tags=["misting"])

ROUNDED_MS = 10 * MINUTE_MS
"""Now is the last full ten minutes: an assessment takes seconds, and several calls share one."""

At = Annotated[Instant | None, Query(description="As of then; default: now.")]
ByProbe = Annotated[str | None, Query(alias="probe", description="Judged by this probe.")]
Number = Annotated[int, Query(ge=1, description="Which of the plans, counted from 1.")]


class Form(StrEnum):
    """What a plan is written as."""

    JSON = "json"
    TEXT = "txt"
    CALENDAR = "ics"


class Tried(Model):
    """A schedule to try out."""

    times: MistingTimes
    """Its runs."""


@router.get("/enclosures/{enclosure}/misting")
def get_misting(
    enclosure: str, parts: GivenParts, _who: MayView, at: At = None, probe: ByProbe = None
) -> dict[str, Any]:
    """Mistings, drying rate with its interval, back-test, plans, and what came of the last one.

    `cannot` says why there is nothing. Nothing here drives a mister.
    """
    return wire(_report(parts, enclosure, at, probe))


@router.get("/enclosures/{enclosure}/misting/mistings")
def list_mistings(
    enclosure: str, parts: GivenParts, _who: MayView, at: At = None, probe: ByProbe = None
) -> list[dict[str, Any]]:
    """The mistings of the last two weeks, oldest first, reported or shown by the air alone.

    One of source `air` is confirmed by a `misted` entry in the journal, and any is rejected by a
    `not_misted` entry at its time.
    """
    at_ms = parts.clock() if at is None else at
    return [misting_wire(each) for each in parts.misting.mistings(enclosure, at_ms, probe)]


@router.post("/enclosures/{enclosure}/misting/predict")
def predict_misting(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    body: Annotated[Tried, Body()],
    at: At = None,
    probe: ByProbe = None,
) -> dict[str, Any]:
    """What any schedule would give, hour by hour. Nothing is changed by it."""
    report = _report(parts, enclosure, at, probe)
    schedule = schedule_of(body.times)
    predicted = report.predict(schedule)
    found = report.assessment
    return {
        "enclosure": enclosure,
        "at": rfc3339(found.at_ms),
        "times": schedule_wire(schedule),
        "goal": goal_wire(report.goal),
        "cannot": (found.cannot or found.plan_cannot) if predicted is None else None,
        "predicted": None if predicted is None else prediction_wire(predicted, bands=True),
    }


@router.get("/enclosures/{enclosure}/misting/plan.{form}", response_model=None)
def get_misting_plan(
    enclosure: str,
    form: Form,
    parts: GivenParts,
    _who: MayView,
    number: Number = 1,
    at: At = None,
    probe: ByProbe = None,
) -> dict[str, Any] | Response:
    """One plan as JSON, as a page of text to print, or as iCalendar for a phone or a timer."""
    report = _report(parts, enclosure, at, probe)
    place, at_ms = report.enclosure, report.assessment.at_ms
    proposal = report.proposal(number)
    if form is Form.JSON:
        return {
            "enclosure": enclosure,
            "at": rfc3339(at_ms),
            "timezone": place.timezone,
            **proposal_wire(proposal),
        }
    if form is Form.TEXT:
        text = proposal_text(proposal, place.name, place.zone_info, at_ms)
        return Response(text, media_type="text/plain; charset=utf-8")
    return Response(
        report.calendar(number, parts.clock()),
        media_type="text/calendar; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="misting-{place.id}.ics"'},
    )


def _report(parts: Parts, enclosure: str, at: int | None, probe: str | None) -> MistingReport:
    at_ms = parts.clock() // ROUNDED_MS * ROUNDED_MS if at is None else at
    return parts.misting.report(enclosure, at_ms, probe)
