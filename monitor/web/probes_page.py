"""The probes page: what each says now, how far it can be believed, and until when."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.ingest import filing
from monitor.jobs.trusting import Trusting
from monitor.setup.models import Probe, Setup
from monitor.times import parse_rfc3339
from monitor.web import words
from monitor.web.climate import enclosure_of, top_down
from monitor.web.enclosure import enclosure_view
from monitor.web.guard import Page
from monitor.web.looking import look
from monitor.web.measure import Measure, Shape
from monitor.web.shell import GivenForm, Place, page
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)

DUE_SOON = dt.timedelta(days=30)
LONGEST_WHY = 200
_SEE_OTHER = 303


class Paper(NamedTuple):
    """How it stands with a probe's calibration."""

    shape: Shape
    says: str


class Row(NamedTuple):
    """One probe."""

    id: str
    name: str
    topic: str
    every: str
    measures: Sequence[Measure]
    hint: str | None
    says: str
    paper: Paper
    advice: Sequence[tuple[str, str]]
    """What is wrong with it, and what to do about it."""
    corrections: Sequence[str]
    out_of_service: str | None
    """Why it is out of service; None if it is in service."""


@router.get("/enclosures/{enclosure}/probes")
def probes(request: Request, enclosure: str, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """Every probe with its quality, its calibration, and what to do about it."""
    place, now_ms = enclosure_of(parts, enclosure), parts.clock()
    known = look(
        parts,
        viewer_of(request).units,
        lambda _: Setup.model_construct(room=(), enclosure=(place,)),
    )
    strata = enclosure_view(place, known).strata
    found = Trusting(parts.database, parts.readings).of(enclosure, now_ms)
    trust = {each["probe"]: each for each in found["probes"]}
    quiet = _out_of_service(parts, enclosure)
    rows = [
        Row(
            id=probe.id,
            name=stratum.name,
            topic=f"dewkeep/{enclosure}/{probe.id}",
            every=words.EVERY.format(f"{probe.period_s:g}"),
            measures=stratum.measures,
            hint=stratum.hint,
            says=trust[probe.id]["says"] if probe.id in trust else "",
            paper=_paper(trust.get(probe.id), place.zone_info, now_ms),
            advice=[
                (words.capital(each["says"]), words.capital(each["do"]))
                for each in trust.get(probe.id, {}).get("advice", ())
            ],
            corrections=_corrections(probe),
            out_of_service=quiet.get(probe.id),
        )
        for probe, stratum in zip(top_down(place), strata, strict=True)
    ]
    return page(
        request,
        "probes.html",
        here="probes",
        place=Place(place.id, place.name),
        rows=rows,
        headline=_headline(rows),
    )


@router.post("/enclosures/{enclosure}/probes/{probe}/service")
def service(
    enclosure: str, probe: str, parts: GivenParts, who: MayOperate, form: GivenForm
) -> RedirectResponse:
    """Take a probe out of service, so that no alarm of it counts, or place it back."""
    why = form.text("why")[:LONGEST_WHY]
    if form.text("do") == "back":
        parts.ask(lambda pipeline, now_ms: pipeline.place_in_service(enclosure, probe, who, now_ms))
    else:
        parts.ask(
            lambda pipeline, now_ms: pipeline.remove_from_service(
                enclosure, probe, who, why, now_ms
            )
        )
    return RedirectResponse(f"/enclosures/{enclosure}/probes#{probe}", _SEE_OTHER)


def _out_of_service(parts: Parts, enclosure: str) -> dict[str, str]:
    with parts.database.reading() as connection:
        found = filing.suppressions(connection, enclosure)
    return {each.probe: each.why or "" for each in found if each.probe is not None}


def _paper(trust: Mapping[str, Any] | None, zone: ZoneInfo, now_ms: int) -> Paper:
    papers = trust["calibration"] if trust is not None else {"state": "none"}
    if papers["state"] == "none":
        return Paper(Shape.UNSURE, words.NEVER_CALIBRATED)
    made, due = (
        dt.datetime.fromtimestamp(parse_rfc3339(papers[key]) / 1000, zone)
        for key in ("made_at", "due_at")
    )
    told = (words.day(made.date()), words.day(due.date()))
    if papers["state"] == "overdue":
        return Paper(Shape.MISSED, words.OVERDUE.format(*told))
    soon = due - dt.datetime.fromtimestamp(now_ms / 1000, zone) < DUE_SOON
    return Paper(
        Shape.UNSURE if soon else Shape.INSIDE,
        (words.DUE_SOON if soon else words.CALIBRATED).format(*told),
    )


def _corrections(probe: Probe) -> list[str]:
    return [
        words.CORRECTION.format(
            words.COURSES[quantity], f"{correction.gain:g}", f"{correction.offset:+g}"
        )
        for quantity, correction in probe.calibration.items()
    ]


def _headline(rows: Sequence[Row]) -> str:
    doubted = [row.name for row in rows if row.advice]
    if not rows:
        return words.NO_PROBE_TITLE
    if doubted:
        return words.PROBES_DOUBTED.format(words.capital(words.listed(doubted)))
    return words.PROBES_BELIEVED
