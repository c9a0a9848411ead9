"""The pages' addresses: look things up, have the view worked out, render it."""

import json
import sqlite3
from typing import Literal

from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.middleware.gzip import GZipMiddleware

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.errors import Conflict, NotFound
from monitor.ingest import filing
from monitor.ingest.pipeline import Pipeline
from monitor.quantities import Quantity
from monitor.setup.journal import Misted
from monitor.setup.models import Enclosure
from monitor.store.many import many
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import explanations, journal, sessions, setup
from monitor.web import sign_in, words
from monitor.web.enclosure import ranges_at, ribbon_probe, scene_of
from monitor.web.forms import FORM_KEY
from monitor.web.guard import Page
from monitor.web.known import Explanation, Known, Past
from monitor.web.memory import Memory
from monitor.web.rendering import ASSETS
from monitor.web.ribbon import STEP_S, WINDOW_MS, window_end
from monitor.web.room import room_view
from monitor.web.scenery import picture
from monitor.web.shell import GivenForm, page
from monitor.web.sign_in import Tries, safe
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)

FOR_A_YEAR = "public, max-age=31536000, immutable"
FOR_A_YEAR_HERE = "private, max-age=31536000, immutable"


def install(app: FastAPI) -> None:
    """Add the pages to the application."""
    parts: Parts = app.state.parts
    with parts.database.transaction() as connection:
        setattr(app.state, FORM_KEY, sessions.secret(connection))
    app.state.tries = Tries()
    app.state.memory = Memory()
    app.add_middleware(GZipMiddleware, minimum_size=1_000, compresslevel=4)
    for each in (router, sign_in.router):
        app.include_router(each)


@router.get("/")
def room(request: Request, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """Every enclosure at a glance."""
    viewer = viewer_of(request)
    memory: Memory = request.app.state.memory
    view = room_view(_known(parts, viewer.units, memory), memory.view)
    return page(
        request,
        "room.html",
        here="room",
        view=view,
        articles=[memory.article(each, viewer) for each in view.places],
    )


@router.post("/seen")
def seen(parts: GivenParts, who: MayOperate, form: GivenForm) -> RedirectResponse:
    """Acknowledge the alarms that were shown, no others, and go back to where they stood."""
    alarms = form.all("alarm")
    parts.ask(lambda pipeline, now_ms: _acknowledge(pipeline, alarms, who, now_ms))
    return RedirectResponse(safe(form.text("back")), 303)


@router.get("/enclosures/{enclosure}/{light}.svg")
def scenery(
    enclosure: str, light: Literal["day", "night"], parts: GivenParts, _who: MayView
) -> Response:
    """The picture of an enclosure; its address changes when it does."""
    with parts.database.reading() as connection:
        place = setup.get(connection, enclosure).place
    if not isinstance(place, Enclosure):
        raise NotFound(f"{enclosure!r} is a room, which has no picture")
    drawn = picture(scene_of(place, parts.library, lit=light == "day"))
    return Response(drawn, media_type="image/svg+xml", headers={"Cache-Control": FOR_A_YEAR_HERE})


@router.get("/static/{name}")
def static(name: str) -> Response:
    """A style sheet, script or drawing; open to all, for nothing in it is anybody's."""
    if name not in ASSETS:
        raise NotFound(f"no file {name!r}")
    asset = ASSETS[name]
    return Response(
        asset.content, media_type=asset.media_type, headers={"Cache-Control": FOR_A_YEAR}
    )


def _acknowledge(pipeline: Pipeline, alarms: list[str], who: str, now_ms: int) -> None:
    for alarm in alarms:
        try:
            pipeline.acknowledge(alarm, who, now_ms)
        except (Conflict, NotFound):
            # Another keeper was faster, or it is over: the page that follows shows how it is.
            continue


def _known(parts: Parts, units: Units, memory: Memory) -> Known:
    now_ms = parts.clock()
    newest = parts.readings.latest()
    latest = {
        key: newest[series]
        for key, series in parts.readings.known_series().items()
        if series in newest
    }
    with parts.database.reading() as connection:
        placed = memory.setup(connection)
        alarms = filing.open_alarms(connection)
        explained = explanations.of(connection, [alarm.id for alarm in alarms])
        places = [each.id for each in placed.enclosure]
        mistings = _mistings(connection, places, now_ms)
    probes = {
        each.id: probe
        for each in placed.enclosure
        if (
            probe := ribbon_probe(
                each, ranges_at(each, parts.library, now_ms), latest.keys(), alarms
            )
        )
        is not None
    }
    keys = {place: SeriesKey(place, probe.id, Quantity.HUMIDITY) for place, probe in probes.items()}
    end_ms = window_end(now_ms)
    courses = many(parts.readings, keys.values(), end_ms - WINDOW_MS, end_ms, STEP_S)
    past = {
        place: Past(probes[place], courses[key], mistings.get(place, ()))
        for place, key in keys.items()
        if key in courses
    }
    return Known(
        now_ms=now_ms,
        setup=placed,
        library=parts.library,
        latest=latest,
        alarms=alarms,
        explanations={alarm: _explanation(body) for alarm, body in explained.items()},
        past=past,
        troubles=_troubles(parts),
        units=units,
    )


def _explanation(body: str) -> Explanation:
    cause = json.loads(body)["cause"]
    return Explanation(cause["says"], cause["check_first"])


def _mistings(
    connection: sqlite3.Connection, places: list[str], now_ms: int
) -> dict[str, list[Misted]]:
    mistings: dict[str, list[Misted]] = {}
    for row in journal.since(connection, places, "misted", now_ms - WINDOW_MS):
        if isinstance(row.entry, Misted):
            mistings.setdefault(row.place, []).append(row.entry)
    return mistings


def _troubles(parts: Parts) -> list[str]:
    """What ails dewkeep itself, for the keeper who would otherwise trust an old picture."""
    link, loop = parts.loop.link.state, parts.loop.state()
    if not loop.alive:
        return [words.NO_LOOP]
    troubles = [] if link.connected else [words.NO_BROKER.format(link.says)]
    if loop.store_says is not None:
        troubles.append(words.NO_STORE.format(loop.store_says))
    return troubles
