"""The settling page: has a new build settled, criterion by criterion, and what that rests on."""

import datetime as dt
from collections.abc import Sequence
from typing import Annotated, NamedTuple

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from monitor.analysis.settling import Settling
from monitor.analysis.settling.criteria import Criterion, Result, Verdict
from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.api.spans import Instant
from monitor.jobs.settling import DAYS
from monitor.quantities import Quantity
from monitor.setup.journal import Inspection
from monitor.setup.models import Enclosure
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS
from monitor.web import words
from monitor.web.charts.course import Course, Record, course
from monitor.web.charts.looks import Looks, looks
from monitor.web.charts.scale import Tick, time_ticks
from monitor.web.charts.wanted import parts as stretches
from monitor.web.climate import enclosure_of, named, top_down
from monitor.web.guard import Page
from monitor.web.measure import Shape
from monitor.web.shell import Place, page
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)

ENTRIES = 1_000
POINTS = 4 * DAYS
_SHAPES = {Result.PASS: Shape.INSIDE, Result.FAIL: Shape.MISSED, Result.UNKNOWN: Shape.UNSURE}
_ORDER = {Result.FAIL: 0, Result.UNKNOWN: 1, Result.PASS: 2}


class Row(NamedTuple):
    """One criterion in words: its mark, what was found, and what is required."""

    shape: Shape
    result: str
    says: str
    required: str
    earliest: str | None


class Group(NamedTuple):
    """The criteria of one kind, those that are open first."""

    name: str
    rows: Sequence[Row]
    met: bool


class Layers(NamedTuple):
    """Nine weeks of one quantity by layer."""

    title: str
    course: Course


@router.get("/enclosures/{enclosure}/settling")
def settling(
    request: Request,
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    at: Annotated[Instant | None, Query()] = None,
) -> HTMLResponse:
    """The verdict, what holds it up, the looks inside, nine weeks of climate, every criterion."""
    place = enclosure_of(parts, enclosure)
    at_ms = parts.clock() if at is None else at
    found = parts.assessor.assess(enclosure, at_ms).settling
    units = viewer_of(request).units
    start_ms = _start(place, at_ms)
    return page(
        request,
        "settling.html",
        here="settling",
        place=Place(place.id, place.name),
        title=words.VERDICTS[found.verdict],
        shape=Shape.INSIDE if found.verdict is Verdict.SETTLED else Shape.UNSURE,
        holds_it_up=found.holds_it_up and words.capital(found.holds_it_up),
        earliest=None if found.earliest is None else words.EARLIEST.format(_day(found.earliest)),
        as_of=words.moment(dt.datetime.fromtimestamp(at_ms / 1000, place.zone_info), None),
        groups=_groups(found),
        met=sum(not each.is_open for each in found.criteria),
        total=len(found.criteria),
        asides=[words.capital(each.says) for each in found.asides],
        looks=_looks(parts, place, start_ms, at_ms),
        layers=[
            Layers(words.capital(words.COURSES[quantity]), drawn)
            for quantity in (Quantity.HUMIDITY, Quantity.TEMPERATURE)
            if (drawn := _layers(parts, place, quantity, start_ms, at_ms, units)).strips
        ],
        ticks=_ticks(place, start_ms, at_ms),
    )


def _start(place: Enclosure, at_ms: int) -> int:
    """Nine weeks before, or the day before it was built; a week at least."""
    start_ms = at_ms - DAYS * DAY_MS
    if place.built_on is not None:
        built = dt.datetime.combine(place.built_on, dt.time(), place.zone_info)
        start_ms = max(start_ms, round(built.timestamp() * 1000) - DAY_MS)
    return min(start_ms, at_ms - 7 * DAY_MS)


def _groups(found: Settling) -> list[Group]:
    """By criterion, in their own order; groups with something open before those that are met."""
    named: dict[str, list[Criterion]] = {}
    for each in found.criteria:
        named.setdefault(each.name, []).append(each)
    groups = [
        Group(
            words.CRITERIA[name],
            [_row(each) for each in sorted(group, key=lambda each: _ORDER[each.result])],
            not any(each.is_open for each in group),
        )
        for name, group in named.items()
    ]
    return sorted(groups, key=lambda group: group.met)


def _row(each: Criterion) -> Row:
    return Row(
        shape=_SHAPES[each.result],
        result=words.RESULTS[each.result],
        says=words.capital(each.says),
        required=each.required,
        earliest=None if each.earliest is None else words.NOT_BEFORE.format(_day(each.earliest)),
    )


def _looks(parts: Parts, place: Enclosure, start_ms: int, at_ms: int) -> Looks | None:
    with parts.database.reading() as connection:
        rows = journal.page(
            connection,
            place.id,
            kinds=("inspection",),
            since_ms=start_ms,
            until_ms=at_ms + 1,
            limit=ENTRIES,
        )
    entries = [row.entry for row in rows if isinstance(row.entry, Inspection)]
    return looks(entries[::-1], place.zone_info, start_ms, at_ms)


def _layers(
    parts: Parts, place: Enclosure, quantity: Quantity, start_ms: int, at_ms: int, units: Units
) -> Course:
    """Days of one quantity by layer."""
    heard = parts.readings.known_series()
    records = [
        Record(
            probe,
            named(place, probe),
            parts.readings.buckets(key, start_ms, at_ms, POINTS),
            stretches(place, parts.library, probe.zone, quantity, start_ms, at_ms, by_night=False),
        )
        for probe in top_down(place)
        if (key := SeriesKey(place.id, probe.id, quantity)) in heard
    ]
    return course(records, quantity, start_ms, at_ms, place.timezone, units)


def _ticks(place: Enclosure, start_ms: int, at_ms: int) -> list[Tick]:
    return time_ticks(place.zone_info, start_ms, at_ms, 6)


def _day(day: dt.date) -> str:
    return words.day(day)
