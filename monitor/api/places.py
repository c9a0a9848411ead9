"""The set-up: rooms and enclosures, read and changed one at a time."""

from collections.abc import Iterable
from typing import Annotated, TypeVar

from fastapi import APIRouter, Body, Header, Response

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.api.problems import unfit
from monitor.errors import NotFound
from monitor.setup.file import unknown_species
from monitor.setup.models import Enclosure, Inhabitant, Room
from monitor.store.sqlite.state import setup

router = APIRouter(tags=["set-up"])

Kind = TypeVar("Kind", Room, Enclosure)
IfMatch = Annotated[
    str | None,
    Header(
        description="The ETag of the version you changed; refused if it is not the last one.",
        # A proxy that compresses makes a weak one of it.
        pattern=r'^(W/)?"?\d{1,15}"?$',
    ),
]


@router.get("/enclosures")
def list_enclosures(parts: GivenParts, _who: MayView) -> list[Enclosure]:
    """All enclosures."""
    with parts.database.reading() as connection:
        return list(setup.everything(connection).enclosure)


@router.get("/enclosures/{enclosure}")
def get_enclosure(
    enclosure: str, parts: GivenParts, _who: MayView, response: Response
) -> Enclosure:
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
def list_rooms(parts: GivenParts, _who: MayView) -> list[Room]:
    """All rooms."""
    with parts.database.reading() as connection:
        return list(setup.everything(connection).room)


@router.get("/rooms/{room}")
def get_room(room: str, parts: GivenParts, _who: MayView, response: Response) -> Room:
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
        says = f"is {place.id!r}, but the address names {place_id!r}"
        raise unfit((("body", "id"), says))
    if isinstance(place, Enclosure):
        check_species(parts, place.inhabitant)
    expected = _expected(if_match)
    revision = parts.ask(lambda pipeline, now_ms: pipeline.put_place(place, who, expected, now_ms))
    response.headers["ETag"] = f'"{revision}"'
    return place


def check_species(parts: Parts, inhabitants: Iterable[Inhabitant]) -> None:
    """Refuse a body with a species that has no profile."""
    unknown = [
        (("body", *route), says) for route, says in unknown_species(inhabitants, parts.library)
    ]
    if unknown:
        raise unfit(*unknown)


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
    return None if if_match is None else int(if_match.removeprefix("W/").strip('"'))
