"""The journal: what was seen and done, buttons for the daily things, forms for the rest."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import ValidationError

from monitor.api.access import MayOperate, MayView
from monitor.api.app import PREFIX
from monitor.api.paging import cursor
from monitor.api.parts import GivenParts, Parts
from monitor.setup.daylight import reached_ms
from monitor.setup.journal import ENTRY, Entry, Misted, Source
from monitor.setup.models import Enclosure
from monitor.store.sqlite.state import journal, photos, setup
from monitor.store.sqlite.state.journal import JournalRow
from monitor.store.sqlite.state.photos import PhotoRow
from monitor.web import words
from monitor.web.charts.scale import linear
from monitor.web.climate import enclosure_of
from monitor.web.forms import Form
from monitor.web.guard import Page
from monitor.web.notes import Noted, noted
from monitor.web.shell import GivenForm, Place, page

router = APIRouter(route_class=Page, include_in_schema=False)

ENTRIES = 60
MOST = 300
OF_EACH = 10
"""So many entries of each enclosure stand in the journal of all."""
_SEE_OTHER = 303
_NOWHERE = linear(0, 1, 0, 0)
_YES_OR_NO = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True)
class Line:
    """One entry and whose it is, or the mistings that a mister did in a row."""

    id: int
    place: Place
    when: dt.datetime
    noted: Noted
    mistings: int = 1
    seconds: float = 0.0
    photos: Sequence[str] = ()
    """The addresses of its photos."""

    @property
    def by_mister(self) -> bool:
        """Whether a mister reported it."""
        return self.noted.source == Source.MISTER and self.noted.kind == "misted"

    @property
    def says(self) -> str:
        """What it is about."""
        if self.mistings == 1:
            return self.noted.says
        return words.MISTED_OFTEN.format(self.mistings, self.seconds)


class Day(NamedTuple):
    """The entries of one day, newest first."""

    says: str
    lines: list[Line]


@router.get("/journal")
def everywhere(
    request: Request, parts: GivenParts, _who: MayView, wrote: int | None = None
) -> HTMLResponse:
    """What keepers wrote of late, wherever, and buttons to write more."""
    with parts.database.reading() as connection:
        places = setup.everything(connection).enclosure
        rows = [
            (place, row)
            for place in places
            for row in journal.page(connection, place.id, kinds=words.KEPT_KINDS, limit=OF_EACH)
        ]
        pictures = photos.of(connection, [row.id for _, row in rows])
    rows.sort(key=lambda each: each[1].entry.at_ms, reverse=True)
    return page(
        request,
        "journal.html",
        here="journal",
        places=[Place(each.id, each.name) for each in places],
        days=_days([_line(*each, pictures) for each in rows[:ENTRIES]]),
        wrote=wrote,
    )


@router.get("/enclosures/{enclosure}/journal")
def of_one(
    request: Request,
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    before: Annotated[str | None, Query(max_length=60)] = None,
    wrote: int | None = None,
) -> HTMLResponse:
    """The journal of one enclosure, newest first."""
    return _journal(request, parts, enclosure_of(parts, enclosure), before=before, wrote=wrote)


@router.post("/enclosures/{enclosure}/journal")
def write(
    request: Request, enclosure: str, parts: GivenParts, _who: MayOperate, form: GivenForm
) -> Response:
    """Write an entry, or say beside each field what is wrong with it."""
    place, now_ms = enclosure_of(parts, enclosure), parts.clock()
    try:
        entry = _entry(form, place, now_ms)
    except ValidationError as exc:
        wrong = _wrong(exc)
        return _journal(request, parts, place, status=422, form=form, wrong=wrong)
    with parts.database.transaction() as connection:
        number = journal.add(connection, enclosure, entry, Source.KEEPER, now_ms)
    back = "/journal" if form.text("back") == "/journal" else f"/enclosures/{enclosure}/journal"
    return RedirectResponse(f"{back}?wrote={number}#entry-{number}", _SEE_OTHER)


def _journal(
    request: Request,
    parts: Parts,
    place: Enclosure,
    *,
    status: int = 200,
    before: str | None = None,
    wrote: int | None = None,
    form: Form | None = None,
    wrong: Mapping[str, str] | None = None,
) -> HTMLResponse:
    start = cursor(before)
    with parts.database.reading() as connection:
        rows = journal.page(
            connection,
            place.id,
            before=None if start is None else (start[0], int(start[1])),
            limit=MOST + 1,
        )
        pictures = photos.of(connection, [row.id for row in rows])
    shown, last = rows[:MOST], rows[MOST - 1] if len(rows) > MOST else None
    now = dt.datetime.fromtimestamp(parts.clock() / 1000, place.zone_info)
    return page(
        request,
        "journal_of_one.html",
        here="journal",
        place=Place(place.id, place.name),
        status=status,
        days=_days([_line(place, row, pictures) for row in shown]),
        older=None if last is None else f"{last.entry.at_ms}_{last.id}",
        later=start is not None,
        wrote=wrote,
        now=f"{now:%Y-%m-%dT%H:%M}",
        filled={} if form is None else dict(form),
        wrong=wrong or {},
        timezone=place.timezone,
    )


def _line(place: Enclosure, row: JournalRow, pictures: Mapping[int, Sequence[PhotoRow]]) -> Line:
    entry = row.entry
    return Line(
        id=row.id,
        place=Place(place.id, place.name),
        when=dt.datetime.fromtimestamp(entry.at_ms / 1000, place.zone_info),
        noted=noted(row, place, _NOWHERE),
        seconds=(entry.seconds or 0.0) if isinstance(entry, Misted) else 0.0,
        photos=[
            f"{PREFIX}/enclosures/{place.id}/journal/{row.id}/photos/{photo.name}"
            for photo in pictures.get(row.id, ())
        ],
    )


def _days(lines: list[Line]) -> list[Day]:
    """By day; what a mister did in a row is told in one line, as of its last time."""
    days: list[Day] = []
    date = None
    for line in lines:
        if line.when.date() != date:
            date = line.when.date()
            days.append(Day(words.day(date), []))
        before = days[-1].lines[-1] if days[-1].lines else None
        if before is not None and before.by_mister and line.by_mister:
            days[-1].lines[-1] = replace(
                before,
                mistings=before.mistings + 1,
                seconds=before.seconds + line.seconds,
            )
        else:
            days[-1].lines.append(line)
    return days


def _entry(form: Form, place: Enclosure, now_ms: int) -> Entry:
    """What a form says; fields left empty are not said.

    Raises:
        ValidationError: it makes no entry.
    """
    kind = form.text("kind")
    told: dict[str, Any] = {"kind": kind, "at": _at(form.text("at"), place, now_ms)}
    if form.text("note"):
        told["note"] = form.text("note")
    if kind == "misted" and form.text("seconds"):
        told["seconds"] = form.text("seconds").replace(",", ".")
    if kind == "inspection":
        told |= _inspection(form)
    return ENTRY.validate_python(told)


def _inspection(form: Form) -> dict[str, Any]:
    mould = form.text("mould_cover")
    told: dict[str, Any] = {
        name: _YES_OR_NO[form.text(name)]
        for name in ("springtails_seen", "isopods_seen")
        if form.text(name) in _YES_OR_NO
    }
    if mould:
        told["mould_cover"] = int(mould) if mould.isdigit() else mould
    if form.text("plants"):
        told["plants"] = form.text("plants")
    return told


def _at(text: str, place: Enclosure, now_ms: int) -> int | str:
    """A time on the enclosure's own clock; now, if none is given."""
    if not text:
        return now_ms
    try:
        return reached_ms(dt.datetime.fromisoformat(text).replace(tzinfo=None), place.zone_info)
    except (ValueError, OverflowError):
        return text


def _wrong(exc: ValidationError) -> dict[str, str]:
    """What is wrong, by field; what is about the whole stands under ``note``."""
    found: dict[str, str] = {}
    for error in exc.errors():
        names = [str(part) for part in error["loc"] if str(part) in words.WRONG_ENTRY]
        found.setdefault(names[-1] if names else "note", "")
    return {name: words.WRONG_ENTRY[name] for name in found}
