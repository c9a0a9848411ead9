"""The probes page: what each says now, how far it can be believed, and until when."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.ingest import filing
from monitor.jobs.trusting import Trusting
from monitor.quality import Quality
from monitor.quantities import Quantity
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Probe, ZoneRange
from monitor.store.readings import Latest, SeriesKey
from monitor.store.sqlite.state import calibrations
from monitor.times import MINUTE_MS, duration, parse_rfc3339
from monitor.web import probe_words, words
from monitor.web.climate import top_down
from monitor.web.enclosure import ranges_at
from monitor.web.guard import Page
from monitor.web.home import Home, home_of
from monitor.web.measure import Measure, Shape, measure
from monitor.web.shell import GivenForm, page
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)

DUE_SOON = dt.timedelta(days=30)
LONGEST_WHY = 200
_SEE_OTHER = 303
_NO_LAMP = Daylight(dt.time(8), dt.time(20), ZoneInfo("UTC"))
"""A room has no ranges that day and night could tell apart."""


class Paper(NamedTuple):
    """How it stands with a probe's calibration."""

    shape: Shape
    says: str


class Value(NamedTuple):
    """One live value; ``trust`` is its quality and its age."""

    measure: Measure
    trust: str


class Matter(NamedTuple):
    """What may be wrong with a probe, what to do about it, and the figures behind it."""

    says: str
    do: str
    confidence: str
    figures: Sequence[str]


class Row(NamedTuple):
    """One probe."""

    id: str
    name: str
    topic: str
    every: str
    values: Sequence[Value]
    hint: str | None
    says: str
    paper: Paper
    matters: Sequence[Matter]
    corrections: Sequence[str]
    out_of_service: str | None
    """Why it is out of service; None if it is in service."""
    boxed: bool
    """Whether it is in the salt box."""


@router.get("/enclosures/{place}/probes")
@router.get("/rooms/{place}/probes")
def probes(request: Request, place: str, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """Every probe with its quality, its calibration, and what to do about it."""
    home, now_ms = home_of(parts, place), parts.clock()
    rows = _rows(parts, home, viewer_of(request).units, now_ms)
    return page(
        request,
        "probes.html",
        here="probes",
        place=home.shelf,
        home=home,
        rows=rows,
        headline=_headline(home, rows),
    )


@router.post("/enclosures/{place}/probes/{probe}/service")
@router.post("/rooms/{place}/probes/{probe}/service")
def service(
    place: str, probe: str, parts: GivenParts, who: MayOperate, form: GivenForm
) -> RedirectResponse:
    """Take a probe out of service, so that no alarm of it counts, or place it back."""
    why = form.text("why")[:LONGEST_WHY]
    if form.text("do") == "back":
        parts.ask(lambda pipeline, now_ms: pipeline.place_in_service(place, probe, who, now_ms))
    else:
        parts.ask(
            lambda pipeline, now_ms: pipeline.remove_from_service(place, probe, who, why, now_ms)
        )
    return RedirectResponse(f"{home_of(parts, place).address}/probes#{probe}", _SEE_OTHER)


def _rows(parts: Parts, home: Home, units: Units, now_ms: int) -> list[Row]:
    place = home.place
    found = Trusting(parts.database, parts.readings).of(place.id, now_ms)
    trust = {each["probe"]: each for each in found["probes"]}
    with parts.database.reading() as connection:
        suppressed = filing.suppressions(connection, place.id)
        boxed = calibrations.boxed(connection)
    quiet = {each.probe: each.why for each in suppressed if each.probe is not None}
    latest, series = parts.readings.latest(), parts.readings.known_series()
    ranges = ranges_at(place, parts.library, now_ms) if isinstance(place, Enclosure) else {}
    rows = []
    for probe in top_down(place):
        heard = {
            quantity: latest[series[key]]
            for quantity in words.QUANTITIES
            if (key := SeriesKey(place.id, probe.id, quantity)) in series and series[key] in latest
        }
        told = trust.get(probe.id)
        rows.append(
            Row(
                id=probe.id,
                name=home.name(probe),
                topic=words.topic(place.id, probe),
                every=words.EVERY.format(f"{probe.period_s:g}"),
                values=[*_values(home, probe, heard, ranges.get(probe.zone), units, now_ms)],
                hint=None if heard else words.UNHEARD.format(words.topic(place.id, probe)),
                says="" if told is None else told["says"],
                paper=_paper(told, home.zone, now_ms),
                matters=[_matter(each) for each in (told or {}).get("advice", ())],
                corrections=_corrections(probe),
                out_of_service=quiet.get(probe.id),
                boxed=(place.id, probe.id) in boxed,
            )
        )
    return rows


def _values(
    home: Home,
    probe: Probe,
    heard: Mapping[Quantity, Latest],
    wanted: ZoneRange | None,
    units: Units,
    now_ms: int,
) -> Iterator[Value]:
    place = home.place
    daylight = (
        Daylight(place.lights_on, place.lights_off, place.zone_info)
        if isinstance(place, Enclosure)
        else _NO_LAMP
    )
    for quantity, reading in heard.items():
        quality = reading.reason
        says = (
            probe_words.BELIEVED
            if quality.quality is Quality.GOOD
            else words.IN_DOUBT.format(quality.says)
        )
        age_ms = now_ms - reading.at_ms
        trust = (
            probe_words.JUST_NOW.format(says)
            if age_ms < MINUTE_MS
            else probe_words.AGO.format(says, duration(age_ms))
        )
        yield Value(measure(quantity, reading, wanted, probe, daylight, now_ms, units), trust)


def _matter(advice: Mapping[str, Any]) -> Matter:
    return Matter(
        says=words.capital(advice["says"]),
        do=words.capital(advice["do"]),
        confidence=probe_words.CONFIDENCE[advice["confidence"]],
        figures=[
            f"{name} {value:g} {unit}".rstrip()
            for key, value in advice["figures"].items()
            for name, unit in [probe_words.FIGURES[key]]
        ],
    )


def _paper(trust: Mapping[str, Any] | None, zone: dt.tzinfo, now_ms: int) -> Paper:
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


def _headline(home: Home, rows: Sequence[Row]) -> str:
    doubted = [row.name for row in rows if row.matters]
    if not rows:
        return words.NO_PROBE_TITLE if home.shelf else probe_words.NO_ROOM_PROBE
    if doubted:
        return words.PROBES_DOUBTED.format(words.capital(words.listed(doubted)))
    return words.PROBES_BELIEVED
