"""The photos of one journal entry: looked at, added and taken out, with or without scripts."""

import datetime as dt
from typing import Annotated, cast

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from monitor.api.access import MayOperate, MayView
from monitor.api.app import PREFIX
from monitor.api.paging import Number
from monitor.api.parts import GivenParts, Parts
from monitor.errors import Conflict, PictureError
from monitor.store.sqlite import photos as kept
from monitor.store.sqlite.state import journal, photos
from monitor.web import words
from monitor.web.charts.scale import linear
from monitor.web.climate import enclosure_of
from monitor.web.forms import FORM_KEY
from monitor.web.guard import Page
from monitor.web.notes import noted
from monitor.web.shell import GivenForm, Place, page
from monitor.web.uploads import Upload, checked_upload
from monitor.web.viewer import bound_to

router = APIRouter(route_class=Page, include_in_schema=False)

BELOW = "/enclosures/{enclosure}/journal/{entry}/photos"
_SEE_OTHER = 303
_NOWHERE = linear(0, 1, 0, 0)


async def _upload(request: Request) -> Upload:
    parts = cast("Parts", request.app.state.parts)
    key = cast("bytes", getattr(request.app.state, FORM_KEY))
    largest = round(parts.settings.photos.largest_mb * 1e6)
    return await checked_upload(request, key, bound_to(request), largest)


GivenUpload = Annotated[Upload, Depends(_upload)]
"""The form with a file that was sent; put it after who sends it, who is asked for first."""


@router.get(BELOW)
def of_entry(
    request: Request, enclosure: str, entry: Number, parts: GivenParts, _who: MayView
) -> HTMLResponse:
    """The photos of an entry, and a form for one more."""
    return _photos(request, parts, enclosure, entry)


@router.post(BELOW)
def add(
    request: Request,
    enclosure: str,
    entry: Number,
    parts: GivenParts,
    _who: MayOperate,
    upload: GivenUpload,
) -> Response:
    """Keep a photo with the entry, written anew without what its file tells beside it."""
    if not upload.file:
        return _photos(request, parts, enclosure, entry, wrong=words.NO_PHOTO)
    settings = parts.settings.photos
    try:
        kept.add(parts.database, enclosure, entry, upload.file, settings, parts.clock())
    except (PictureError, Conflict) as exc:
        return _photos(request, parts, enclosure, entry, wrong=words.capital(f"{exc}."))
    return RedirectResponse(_address(enclosure, entry), _SEE_OTHER)


@router.post(f"{BELOW}/remove")
def remove(
    enclosure: str, entry: Number, parts: GivenParts, _who: MayOperate, form: GivenForm
) -> RedirectResponse:
    """Take a photo out of the entry."""
    kept.remove(parts.database, enclosure, entry, form.text("photo"))
    return RedirectResponse(_address(enclosure, entry), _SEE_OTHER)


def _photos(
    request: Request, parts: Parts, enclosure: str, entry: int, *, wrong: str = ""
) -> HTMLResponse:
    place = enclosure_of(parts, enclosure)
    with parts.database.reading() as connection:
        row = journal.get(connection, enclosure, entry)
        pictures = photos.of(connection, [entry]).get(entry, ())
    action = _address(enclosure, entry)
    when = dt.datetime.fromtimestamp(row.entry.at_ms / 1000, place.zone_info)
    return page(
        request,
        "photos.html",
        here="journal",
        place=Place(place.id, place.name),
        status=422 if wrong else 200,
        entry=entry,
        told=noted(row, place, _NOWHERE),
        day=words.day(when.date()),
        action=action,
        pictures=[(each.name, f"{PREFIX}{action}/{each.name}") for each in pictures],
        full=len(pictures) >= parts.settings.photos.most_per_entry,
        most=parts.settings.photos.most_per_entry,
        wrong=wrong,
    )


def _address(enclosure: str, entry: int) -> str:
    return f"/enclosures/{enclosure}/journal/{entry}/photos"
