"""The climate page of an enclosure: its course, the psychrometric plane, the map of days."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, NamedTuple

import numpy as np
from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.errors import NotFound
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Room, Setup, ZoneRange
from monitor.setup.ranges import ranges_in_force
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import journal, setup
from monitor.store.sqlite.state.journal import JournalRow
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS
from monitor.web import probe_words, words
from monitor.web.at_work import at_work, settles
from monitor.web.charts.course import Course, Record, course
from monitor.web.charts.daymap import DayMap, day_map
from monitor.web.charts.plane import Plane, Walk, plane
from monitor.web.charts.scale import Tick, instants, linear, time_ticks
from monitor.web.charts.wanted import lamp_of, nights_and_days
from monitor.web.charts.wanted import parts as stretches
from monitor.web.enclosure import enclosure_view
from monitor.web.guard import Page
from monitor.web.looking import look
from monitor.web.notes import Noted, noted
from monitor.web.ribbon import STEP_MS, window_end
from monitor.web.shell import Place, page
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)

POINTS = 400
"""Buckets in a strip: enough for a wide screen, few enough to come at once."""
LONGEST_BY_NIGHT_MS = 10 * DAY_MS
"""Over a longer span single nights cannot be told apart, nor is each misting marked."""
SPANS_MS = {
    "day": DAY_MS,
    "week": 7 * DAY_MS,
    "month": 30 * DAY_MS,
    "season": 91 * DAY_MS,
    "year": 365 * DAY_MS,
}
SHORTEST_MS, LONGEST_MS = 10 * MINUTE_MS, 10 * 365 * DAY_MS
MAP_DAYS = 42
MOST_ENTRIES = 500
WALK_POINTS = 97


class Looked(NamedTuple):
    """What to look at: a quantity over a span; ``live`` if it goes up to now."""

    quantity: Quantity
    start_ms: int
    end_ms: int
    live: bool

    @property
    def by_night(self) -> bool:
        """Whether single nights can be told apart."""
        return self.end_ms - self.start_ms <= LONGEST_BY_NIGHT_MS

    def address(
        self, *, quantity: Quantity | None = None, start_ms: int | None = None, end_ms: int = 0
    ) -> str:
        """The query that looks at another quantity or span."""
        query = f"?quantity={quantity or self.quantity}"
        if start_ms is not None:
            return f"{query}&from={start_ms}&to={end_ms}"
        return query if self.live else f"{query}&from={self.start_ms}&to={self.end_ms}"


class Choice(NamedTuple):
    """A link among others of its kind."""

    name: str
    address: str
    here: bool


@dataclass(frozen=True, slots=True)
class Shown:
    """The course of a quantity, with where one can go from it."""

    looked: Looked
    course: Course
    title: str
    nights: Sequence[tuple[float, float]]
    """Where they begin and how long they are, in percent."""
    ticks: Sequence[Tick]
    entries: Sequence[Noted]
    quantities: Sequence[Choice]
    spans: Sequence[Choice]
    earlier: str
    later: str | None


From = Annotated[int | None, Query(alias="from", ge=0)]
To = Annotated[int | None, Query(ge=0)]


@router.get("/enclosures/{enclosure}")
def climate(
    request: Request,
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    quantity: Quantity | None = None,
    start: From = None,
    to: To = None,
    probe: str | None = None,
) -> HTMLResponse:
    """How it is and was: courses by zone, the air's path through the plane, days by hour."""
    place = enclosure_of(parts, enclosure)
    units = viewer_of(request).units
    heard = _heard(parts, place)
    looked = _looked(heard, quantity, start, to, parts.clock())
    chosen = _chosen(place, heard, looked.quantity, probe)
    known = look(parts, units, lambda _: Setup.model_construct(room=(), enclosure=(place,)))
    return page(
        request,
        "climate.html",
        here="climate",
        place=Place(place.id, place.name),
        view=enclosure_view(place, known),
        troubles=known.troubles,
        shown=_course(parts, place, heard, looked, units),
        plane=_plane(parts, place, chosen, units),
        day_map=_map(parts, place, chosen, looked.quantity, units),
        probe=chosen,
        at_work=at_work(parts, place),
        settles=settles(parts.settings.alarms.lid_settle_s),
        offered=probe_words.AT_WORK_FOR,
        probes=[
            Choice(named(place, each), f"{looked.address()}&probe={each.id}", each == chosen)
            for each in top_down(place)
            if heard.get(each.id)
        ],
    )


@router.get("/enclosures/{enclosure}/course")
def part_of_course(
    request: Request,
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    quantity: Quantity | None = None,
    start: From = None,
    to: To = None,
) -> HTMLResponse:
    """The course alone, for a script that zooms."""
    place = enclosure_of(parts, enclosure)
    viewer = viewer_of(request)
    heard = _heard(parts, place)
    looked = _looked(heard, quantity, start, to, parts.clock())
    shown = _course(parts, place, heard, looked, viewer.units)
    return page(request, "course.html", place=Place(place.id, place.name), shown=shown)


def enclosure_of(parts: Parts, enclosure: str) -> Enclosure:
    """The enclosure with an id.

    Raises:
        NotFound: there is none, or it is a room.
    """
    with parts.database.reading() as connection:
        place = setup.get(connection, enclosure).place
    if not isinstance(place, Enclosure):
        raise NotFound(f"{enclosure!r} is a room, not an enclosure")
    return place


def _heard(parts: Parts, place: Enclosure) -> dict[str, set[Quantity]]:
    """What each probe has ever measured, and what follows from it."""
    heard: dict[str, set[Quantity]] = {each.id: set() for each in place.probe}
    latest = parts.readings.latest()
    for key, series in parts.readings.known_series().items():
        if key.place == place.id and key.probe in heard and series in latest:
            heard[key.probe].add(key.quantity)
    for quantities in heard.values():
        if {Quantity.TEMPERATURE, Quantity.HUMIDITY} <= quantities:
            quantities.update(words.DERIVED)
    return heard


def _looked(
    heard: dict[str, set[Quantity]],
    quantity: Quantity | None,
    start: int | None,
    to: int | None,
    now_ms: int,
) -> Looked:
    known = set[Quantity]().union(*heard.values())
    if quantity is None:
        quantity = next((each for each in words.COURSES if each in known), Quantity.HUMIDITY)
    end_ms = window_end(now_ms)
    if start is None or to is None:
        return Looked(quantity, end_ms - DAY_MS, end_ms, live=True)
    length = min(max(to - start, SHORTEST_MS), LONGEST_MS)
    end_ms = min(max(to, length), end_ms)
    return Looked(quantity, max(end_ms - length, 0), end_ms, live=False)


def _course(
    parts: Parts,
    place: Enclosure,
    heard: dict[str, set[Quantity]],
    looked: Looked,
    units: Units,
) -> Shown:
    start_ms, end_ms, quantity = looked.start_ms, looked.end_ms, looked.quantity
    records = [
        Record(
            probe,
            named(place, probe),
            parts.readings.buckets(
                SeriesKey(place.id, probe.id, quantity), start_ms, end_ms, POINTS
            ),
            stretches(
                place,
                parts.library,
                probe.zone,
                quantity,
                start_ms,
                end_ms,
                by_night=looked.by_night,
            ),
        )
        for probe in top_down(place)
        if quantity in heard[probe.id]
    ]
    x = linear(start_ms, end_ms, 0, 100)
    entries = _entries(parts, place, start_ms, end_ms)
    return Shown(
        course=course(records, quantity, start_ms, end_ms, place.timezone, units),
        looked=looked,
        title=words.COURSE.format(
            words.capital(words.COURSES[quantity]), _span_said(place, looked)
        ),
        nights=[
            (x(since), round(x(until) - x(since), 2))
            for since, until, day in nights_and_days(place, start_ms, end_ms)
            if not day
        ]
        if looked.by_night
        else [],
        ticks=time_ticks(place.zone_info, start_ms, end_ms, 6),
        entries=[noted(each, place, x) for each in entries],
        quantities=[
            Choice(words.capital(name), looked.address(quantity=each), each == quantity)
            for each, name in words.COURSES.items()
            if any(each in quantities for quantities in heard.values())
        ],
        spans=[
            Choice(
                words.SPANS[name],
                looked.address(start_ms=end_ms - length, end_ms=end_ms),
                end_ms - start_ms == length,
            )
            for name, length in SPANS_MS.items()
        ],
        earlier=looked.address(start_ms=2 * start_ms - end_ms, end_ms=start_ms),
        later=looked.address(start_ms=end_ms, end_ms=2 * end_ms - start_ms)
        if end_ms < window_end(parts.clock())
        else None,
    )


def _entries(parts: Parts, place: Enclosure, start_ms: int, end_ms: int) -> list[JournalRow]:
    """What the journal has of the span, oldest first; of a long one not every misting."""
    kinds = () if end_ms - start_ms <= LONGEST_BY_NIGHT_MS else tuple(words.RARE_KINDS)
    with parts.database.reading() as connection:
        rows = journal.page(
            connection,
            place.id,
            kinds=kinds,
            since_ms=start_ms,
            until_ms=end_ms,
            limit=MOST_ENTRIES,
        )
    return rows[::-1]


def _span_said(place: Enclosure, looked: Looked) -> str:
    if looked.live:
        return words.A_DAY
    first, last = (
        dt.datetime.fromtimestamp(at_ms / 1000, place.zone_info)
        for at_ms in (looked.start_ms, looked.end_ms)
    )
    return words.FROM_TO.format(words.moment(first, last), words.moment(last, first))


def _chosen(
    place: Enclosure, heard: dict[str, set[Quantity]], quantity: Quantity, asked: str | None
) -> Probe | None:
    """The probe that the plane and the map show: the one asked for, else the topmost that can."""
    able = [each for each in top_down(place) if quantity in heard[each.id]]
    return next((each for each in able if each.id == asked), able[0] if able else None)


def _plane(parts: Parts, place: Enclosure, probe: Probe | None, units: Units) -> Plane | None:
    if probe is None:
        return None
    end_ms = window_end(parts.clock())
    start_ms = end_ms - DAY_MS
    temperature, pressure = (
        parts.readings.buckets(
            SeriesKey(place.id, probe.id, each), start_ms, end_ms, DAY_MS // STEP_MS
        )
        for each in (Quantity.TEMPERATURE, Quantity.VAPOUR_PRESSURE)
    )
    at_ms, t, e = np.intersect1d(temperature.at_ms, pressure.at_ms, return_indices=True)
    wanted = ranges_in_force(place, parts.library, _today(place, end_ms)).get(
        probe.zone, ZoneRange()
    )
    walk = Walk(
        at_ms=at_ms,
        temperature=temperature.mean[t],
        pressure=pressure.mean[e],
        day=lamp_of(place).is_day(at_ms),
        hours=tuple(
            (at_ms, f"{dt.datetime.fromtimestamp(at_ms / 1000, place.zone_info):%H:%M}")
            for at_ms, _ in instants(place.zone_info, start_ms, end_ms, 6)
        ),
    )
    return plane(walk, wanted.day, wanted.night, units)


def _map(
    parts: Parts, place: Enclosure, probe: Probe | None, quantity: Quantity, units: Units
) -> DayMap | None:
    if probe is None:
        return None
    end_ms = -(-parts.clock() // HOUR_MS) * HOUR_MS
    start_ms = end_ms - MAP_DAYS * DAY_MS
    buckets = parts.readings.buckets(
        SeriesKey(place.id, probe.id, quantity), start_ms, end_ms, MAP_DAYS * 24
    )
    wanted = stretches(place, parts.library, probe.zone, quantity, start_ms, end_ms, by_night=True)
    return day_map(buckets, wanted, place.zone_info, quantity, units)


def _today(place: Enclosure, now_ms: int) -> dt.date:
    return dt.datetime.fromtimestamp(now_ms / 1000, place.zone_info).date()


def top_down(place: Enclosure | Room) -> Sequence[Probe]:
    """Its probes in the order of its layers."""
    return sorted(place.probe, key=lambda probe: words.TOP_DOWN.index(probe.zone))


def named(place: Enclosure | Room, probe: Probe) -> str:
    """What a probe is called: its zone, and its id where that is not enough."""
    name = words.ZONES[probe.zone]
    several = sum(each.zone is probe.zone for each in place.probe) > 1
    return words.ONE_OF.format(name, probe.id) if several else name
