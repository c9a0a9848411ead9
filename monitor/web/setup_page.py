"""The set-up pages: what there is, first steps, who reports without being known, and the forms."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated, NamedTuple, TypeVar
from zoneinfo import available_timezones

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.errors import Conflict, NotFound
from monitor.setup.changes import summary
from monitor.setup.company import company
from monitor.setup.device import LONGEST
from monitor.setup.file import unknown_species
from monitor.setup.models import Enclosure, Room, Zone, ZoneRange
from monitor.species.compatibility import Compatibility
from monitor.species.profile import Kind
from monitor.store.sqlite.state import setup
from monitor.web import words
from monitor.web.device_page import asked, taken
from monitor.web.guard import Page
from monitor.web.setup_form import (
    ASKED,
    SPARE_INHABITANTS,
    SPARE_PROBES,
    WHENS,
    Filled,
    InhabitantRow,
    ProbeRow,
    filled,
    shown,
    understood,
    with_probe,
)
from monitor.web.shell import GivenForm, page
from monitor.web.strangers import strangers
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

P = TypeVar("P", Room, Enclosure)

router = APIRouter(route_class=Page, include_in_schema=False)

CHANGES = 12
MOST_OFFERED = 8
NEW = "-new"
"""In the place of an id, which cannot begin so."""
_SEE_OTHER = 303


class Step(NamedTuple):
    """One of the first steps, and whether it is done."""

    done: bool
    says: str


class Offer(NamedTuple):
    """Species to choose from, under a heading."""

    name: str
    species: Sequence[tuple[str, str]]


class RangeRow(NamedTuple):
    """One range to write: its field's stem, its words, and what the inhabitants share."""

    stem: str
    name: str
    shared: str
    low: str
    high: str


@router.get("/setup")
def overview(request: Request, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """What is set up, what to do next, and who reports without being known."""
    with parts.database.reading() as connection:
        placed = setup.everything(connection)
        changes = [summary(each) for each in setup.history(connection, limit=CHANGES)]
    heard = len(parts.readings.latest()) > 0
    steps = [
        Step(parts.loop.link.state.connected, words.STEP_BROKER),
        Step(bool(placed.enclosure), words.STEP_ENCLOSURE),
        Step(any(each.probe for each in placed.enclosure), words.STEP_PROBE),
        Step(heard, words.STEP_READING),
    ]
    return page(
        request,
        "setup.html",
        here="setup",
        placed=placed,
        rooms={room.id: room.name for room in placed.room},
        steps=[] if all(each.done for each in steps) else steps,
        strangers=strangers(parts.rejects.recent(), placed, parts.settings.source),
        changes=changes,
        file=parts.settings.setup.file and parts.settings.setup.file.name,
    )


@router.get("/setup/enclosures/{enclosure}")
def ask_enclosure(
    request: Request,
    enclosure: str,
    parts: GivenParts,
    _who: MayOperate,
    place: Annotated[str, Query(max_length=64)] = "",
    probe: Annotated[str, Query(max_length=64)] = "",
    device: Annotated[str, Query(max_length=LONGEST)] = "",
) -> HTMLResponse:
    """The form of an enclosure, or of a new one; it should get ``probe``, which is ``device``."""
    units = viewer_of(request).units
    if enclosure == NEW:
        start = _blank(parts, place)
        if probe or device:
            start = with_probe(start, probe, device)
        return _enclosure_form(request, parts, None, start, {}, revision=setup.ABSENT)
    with parts.database.reading() as connection:
        found, revision = setup.get(connection, enclosure)
    if not isinstance(found, Enclosure):
        raise NotFound(f"{enclosure!r} is a room, not an enclosure")
    start = shown(found, units)
    if probe or device:
        start = with_probe(start, probe, device)
    return _enclosure_form(request, parts, found, start, {}, revision=revision)


@router.post("/setup/enclosures/{enclosure}")
def set_enclosure_up(
    request: Request, enclosure: str, parts: GivenParts, who: MayOperate, form: GivenForm
) -> Response:
    """Set it up as filled in; or show more rows, or who would get on, and keep nothing."""
    units, sent = viewer_of(request).units, filled(form)
    before = _before(parts, enclosure, Enclosure)
    if before is not None:
        sent = replace(sent, id=before.id)
    revision = int(form.text("revision")) if form.text("revision").isdigit() else setup.ABSENT
    if form.text("add"):
        rows = [each for each in sent.inhabitants if each.species]
        sent = replace(sent, inhabitants=[*rows, InhabitantRow(form.text("add"))])
    if form.text("do") != "save" or form.text("add"):
        return _enclosure_form(request, parts, before, sent, {}, revision=revision, look=True)
    place, wrong = understood(sent, Enclosure, before, units)
    if place is not None:
        wrong = {
            f"inhabitant-{route[1]}-species": says
            for route, says in unknown_species(place.inhabitant, parts.library)
        } | taken(parts, place, sent.probes)
    if place is None or wrong:
        return _enclosure_form(
            request, parts, before, sent, wrong, revision=revision, status=422, look=True
        )
    try:
        parts.ask(lambda pipeline, now_ms: pipeline.put_place(place, who, revision, now_ms))
    except Conflict as exc:
        told = {"id" if before is None else "": str(exc)}
        return _enclosure_form(request, parts, before, sent, told, revision=revision, status=409)
    return RedirectResponse(f"/enclosures/{place.id}", _SEE_OTHER)


@router.get("/setup/rooms/{room}")
def ask_room(
    request: Request,
    room: str,
    parts: GivenParts,
    _who: MayOperate,
    probe: Annotated[str, Query(max_length=64)] = "",
    device: Annotated[str, Query(max_length=LONGEST)] = "",
) -> HTMLResponse:
    """The form of a room, or of a new one; it should get ``probe``, which is ``device``."""
    if room == NEW:
        start = Filled(
            "", dict.fromkeys(("name",), ""), [ProbeRow("air", Zone.ROOM, "60", device=device)]
        )
        return _room_form(request, parts, None, start, {}, setup.ABSENT)
    with parts.database.reading() as connection:
        found, revision = setup.get(connection, room)
    if not isinstance(found, Room):
        raise NotFound(f"{room!r} is an enclosure, not a room")
    start = shown(found, viewer_of(request).units)
    if probe or device:
        start = with_probe(start, probe, device)
    return _room_form(request, parts, found, start, {}, revision)


@router.post("/setup/rooms/{room}")
def set_room_up(
    request: Request, room: str, parts: GivenParts, who: MayOperate, form: GivenForm
) -> Response:
    """Set a room up as filled in."""
    sent, before = filled(form), _before(parts, room, Room)
    if before is not None:
        sent = replace(sent, id=before.id)
    revision = int(form.text("revision")) if form.text("revision").isdigit() else setup.ABSENT
    place, wrong = understood(sent, Room, before, viewer_of(request).units)
    if place is not None:
        wrong = taken(parts, place, sent.probes)
    if place is None or wrong:
        return _room_form(request, parts, before, sent, wrong, revision, status=422)
    try:
        parts.ask(lambda pipeline, now_ms: pipeline.put_place(place, who, revision, now_ms))
    except Conflict as exc:
        told = {"id" if before is None else "": str(exc)}
        return _room_form(request, parts, before, sent, told, revision, status=409)
    return RedirectResponse("/setup", _SEE_OTHER)


@router.post("/setup/places/{place}/remove")
def remove(place: str, parts: GivenParts, who: MayOperate, form: GivenForm) -> Response:
    """Take a place out of the set-up; what was recorded of it stays."""
    if form.text("sure") != "yes":
        raise Conflict(words.NOT_SURE)
    parts.ask(lambda pipeline, now_ms: pipeline.delete_place(place, who, None, now_ms))
    return RedirectResponse("/setup", _SEE_OTHER)


def _before(parts: Parts, place: str, kind: type[P]) -> P | None:
    """A place as it is set up; None of a new one."""
    if place == NEW:
        return None
    with parts.database.reading() as connection:
        found = setup.get(connection, place).place
    if not isinstance(found, kind):
        raise NotFound(f"no {kind.__name__.lower()} {place!r} is set up")
    return found


def _blank(parts: Parts, place: str) -> Filled:
    """A new enclosure: in the only room there is, by the clock of the others."""
    with parts.database.reading() as connection:
        placed = setup.everything(connection)
    zones = {each.timezone for each in placed.enclosure}
    return Filled(
        id=place,
        plain={
            "name": words.capital(place.replace("-", " ").replace("_", " ")),
            "room": placed.room[0].id if len(placed.room) == 1 else "",
            "timezone": zones.pop() if len(zones) == 1 else "UTC",
            "lights_on": "08:00",
            "lights_off": "20:00",
            "volume_l": "",
            "built_on": "",
        },
        probes=[],
    )


def _enclosure_form(
    request: Request,
    parts: Parts,
    before: Enclosure | None,
    sent: Filled,
    wrong: dict[str, str],
    *,
    revision: int,
    status: int = 200,
    look: bool = False,
) -> HTMLResponse:
    units = viewer_of(request).units
    found = _company(parts, before, sent, units)
    with parts.database.reading() as connection:
        rooms = setup.everything(connection).room
    empty = [ProbeRow("", Zone.FLOOR, "60")] * SPARE_PROBES
    return page(
        request,
        "setup_enclosure.html",
        here="setup",
        status=status,
        before=before,
        sent=sent,
        wrong=wrong,
        revision=revision,
        rooms=rooms,
        timezones=sorted(available_timezones()),
        probes=[*sent.probes, *empty],
        devices=asked(parts, sent.probes),
        zones={zone: words.ZONES[zone] for zone in words.TOP_DOWN if zone is not Zone.ROOM},
        inhabitants=[*sent.inhabitants, *[InhabitantRow()] * SPARE_INHABITANTS],
        offers=_offers(parts, found),
        found=found if look or before is not None else None,
        offered=[] if found is None else [c for c in found.candidates if c.fit][:MOST_OFFERED],
        conflicts=[] if found is None else _conflicts(found),
        ranges=_asked_ranges(sent, _shared(parts, sent), units),
        signs={quantity: units.sign(quantity) for quantity in ASKED},
    )


def _room_form(
    request: Request,
    parts: Parts,
    before: Room | None,
    sent: Filled,
    wrong: dict[str, str],
    revision: int,
    status: int = 200,
) -> HTMLResponse:
    return page(
        request,
        "setup_room.html",
        here="setup",
        status=status,
        before=before,
        sent=sent,
        wrong=wrong,
        revision=revision,
        probes=[*sent.probes, ProbeRow("", Zone.ROOM, "60")],
        devices=asked(parts, sent.probes),
    )


def _company(
    parts: Parts, before: Enclosure | None, sent: Filled, units: Units
) -> Compatibility | None:
    """How those would get on that are chosen, under the ranges filled in if these make sense."""
    species = [each.species for each in sent.inhabitants if each.species in parts.library]
    if not species:
        return None
    place, _ = understood(sent, Enclosure, before, units)
    own = {} if place is None else place.range
    return company(species, own, parts.library, _today(parts))


def _shared(parts: Parts, sent: Filled) -> Mapping[Zone, ZoneRange]:
    """What those that are chosen share, before any range of the keeper's own."""
    species = [each.species for each in sent.inhabitants if each.species in parts.library]
    return parts.library.envelope(species, _today(parts)).ranges


def _today(parts: Parts) -> dt.date:
    return dt.datetime.fromtimestamp(parts.clock() / 1000, dt.UTC).date()


def _conflicts(found: Compatibility) -> list[str]:
    """What speaks against it, in sentences."""
    names = {each.id: each.name for each in found.company}
    return [
        *(each.says(names) for each in found.conflicts if not found.bridged(each)),
        *(each.says for each in found.risks),
    ]


def _offers(parts: Parts, found: Compatibility | None) -> list[Offer]:
    """All species, those first that fit the ones chosen best."""
    names = {each: parts.library.profile(each) for each in parts.library}
    offers = []
    if found is not None:
        fitting = [(each.species, each.name) for each in found.candidates if each.fit]
        offers.append(Offer(words.FITTING, fitting[:MOST_OFFERED]))
    for kind in Kind:
        of_kind = sorted((p.name, each) for each, p in names.items() if p.kind is kind)
        offers.append(
            Offer(words.SPECIES_KINDS[kind], [(species, name) for name, species in of_kind])
        )
    return [each for each in offers if each.species]


def _asked_ranges(
    sent: Filled, shared: Mapping[Zone, ZoneRange], units: Units
) -> list[tuple[str, list[RangeRow]]]:
    """By zone, what a keeper may write."""
    asked = []
    for zone in sent.zones:
        rows = []
        for when in WHENS:
            for quantity in ASKED:
                stem = f"{zone}-{when}-{quantity}"
                span = getattr(getattr(shared.get(zone, ZoneRange()), when), quantity)
                rows.append(
                    RangeRow(
                        stem,
                        words.RANGE_NAMES[when].format(words.capital(words.COURSES[quantity])),
                        words.span_in(units, quantity, span) if span else "",
                        sent.ranges.get(f"{stem}-low", ""),
                        sent.ranges.get(f"{stem}-high", ""),
                    )
                )
        asked.append((words.capital(words.ZONES[zone]), rows))
    return asked
