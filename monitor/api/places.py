"""The set-up: rooms and enclosures, read and changed one at a time."""

from typing import Annotated, TypeVar

from fastapi import APIRouter, Body, Header, HTTPException, Response

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.errors import NotFound, Problem, SettingsError
from monitor.setup.file import unknown_species
from monitor.setup.models import Enclosure, Room
from monitor.store.sqlite.state import setup

router = APIRouter(tags=["set-up"])

Kind = TypeVar("Kind", Room, Enclosure)
IfMatch = Annotated[
    str | None,
    Header(description="The ETag of the version you changed; refused if it is not the last one."),
]


@router.get("/enclosures")
def enclosures(parts: GivenParts, _who: MayView) -> list[Enclosure]:
    """All enclosures."""
    with parts.database.reading() as connection:
        return list(setup.everything(connection).enclosure)


@router.get("/enclosures/{enclosure}")
def enclosure_of(enclosure: str, parts: GivenParts, _who: MayView, response: Response) -> Enclosure:
    """One enclosure."""
    return _get(parts, enclosure, Enclosure, response)


@router.put("/enclosures/{enclosure}")
def put_enclosure(
    enclosure: str,
    parts: GivenParts,
    who: MayOperate,
    body: Annotated[Enclosure, Body()],
    response: Response,
    if_match: IfMatch = None,
) -> Enclosure:
    """Set an enclosure up, or change it; takes effect at once."""
    return _put(parts, enclosure, body, who, if_match, response)


@router.delete("/enclosures/{enclosure}", status_code=204)
def delete_enclosure(
    enclosure: str,
    parts: GivenParts,
    who: MayOperate,
    response: Response,
    if_match: IfMatch = None,
) -> None:
    """Take an enclosure out of the set-up; what was recorded of it stays."""
    _delete(parts, enclosure, Enclosure, who, if_match, response)


@router.get("/rooms")
def rooms(parts: GivenParts, _who: MayView) -> list[Room]:
    """All rooms."""
    with parts.database.reading() as connection:
        return list(setup.everything(connection).room)


@router.get("/rooms/{room}")
def room_of(room: str, parts: GivenParts, _who: MayView, response: Response) -> Room:
    """One room."""
    return _get(parts, room, Room, response)


@router.put("/rooms/{room}")
def put_room(
    room: str,
    parts: GivenParts,
    who: MayOperate,
    body: Annotated[Room, Body()],
    response: Response,
    if_match: IfMatch = None,
) -> Room:
    """Set a room up, or change it."""
    return _put(parts, room, body, who, if_match, response)


@router.delete("/rooms/{room}", status_code=204)
def delete_room(
    room: str, parts: GivenParts, who: MayOperate, response: Response, if_match: IfMatch = None
) -> None:
    """Take an empty room out of the set-up."""
    _delete(parts, room, Room, who, if_match, response)


def _get(parts: Parts, place_id: str, kind: type[Kind], response: Response) -> Kind:
    with parts.database.reading() as connection:
        place, revision = setup.get(connection, place_id)
    if not isinstance(place, kind):
        raise NotFound(f"no {kind.__name__.lower()} {place_id!r} is set up")
    response.headers["ETag"] = f'"{revision}"'
    return place


def _put(
    parts: Parts,
    place_id: str,
    place: Kind,
    who: str,
    if_match: str | None,
    response: Response,
) -> Kind:
    if place.id != place_id:
        raise HTTPException(422, f"the address names {place_id!r}, the body {place.id!r}")
    if isinstance(place, Enclosure):
        _check_species(parts, place)
    expected = _expected(if_match)
    revision = parts.ask(lambda pipeline, now_ms: pipeline.put_place(place, who, expected, now_ms))
    response.headers["ETag"] = f'"{revision}"'
    return place


def _check_species(parts: Parts, enclosure: Enclosure) -> None:
    wrong = [
        Problem("body", ".".join(str(part) for part in route), says)
        for route, says in unknown_species(enclosure, parts.library)
    ]
    if wrong:
        raise SettingsError(wrong)


def _delete(
    parts: Parts,
    place_id: str,
    kind: type[Kind],
    who: str,
    if_match: str | None,
    response: Response,
) -> None:
    _get(parts, place_id, kind, response)
    expected = _expected(if_match)
    parts.ask(lambda pipeline, now_ms: pipeline.delete_place(place_id, who, expected, now_ms))


def _expected(if_match: str | None) -> int | None:
    if if_match is None or if_match.strip() == "*":
        return None
    number = if_match.strip().strip('"')
    if not (number.isascii() and number.isdigit()):
        raise HTTPException(422, f"If-Match: {if_match!r} is no ETag of dewkeep")
    return int(number)
