"""The pages' addresses: look things up, have the view worked out, render it."""

from http import HTTPStatus
from typing import Literal

from fastapi import APIRouter, FastAPI, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from starlette.middleware.gzip import GZipMiddleware

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.api.problems import problem
from monitor.errors import Conflict, NotFound
from monitor.ingest.pipeline import Pipeline
from monitor.setup.models import Enclosure
from monitor.store.sqlite.state import sessions, setup
from monitor.web import (
    alarm_page,
    at_work,
    calibration_page,
    climate,
    device_page,
    handover,
    health_page,
    house_page,
    journal_page,
    misting_page,
    photos_page,
    probes_page,
    settling_page,
    settling_report,
    setup_page,
    sign_in,
    species_page,
    words,
)
from monitor.web.enclosure import scene_of
from monitor.web.forms import FORM_KEY
from monitor.web.guard import Page, refusal
from monitor.web.looking import look
from monitor.web.memory import Memory
from monitor.web.rendering import ASSETS
from monitor.web.room import room_view
from monitor.web.scenery import picture
from monitor.web.shell import GivenForm, page
from monitor.web.sign_in import Tries, safe
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)
missing = APIRouter(route_class=Page, include_in_schema=False)
"""Comes last: whatever nothing else answers."""

MODULES = (
    *(sign_in, climate, at_work, settling_page, probes_page, calibration_page),
    *(misting_page, alarm_page, journal_page, photos_page),
    *(species_page, setup_page, device_page, health_page, house_page),
    *(handover, settling_report),
)
FOR_A_YEAR = "public, max-age=31536000, immutable"
FOR_A_YEAR_HERE = "private, max-age=31536000, immutable"


def install(app: FastAPI) -> None:
    """Add the pages to the application."""
    parts: Parts = app.state.parts
    with parts.database.transaction() as connection:
        setattr(app.state, FORM_KEY, sessions.secret(connection))
    app.state.tries = Tries()
    app.state.memory = Memory(parts.settings.share.has, parts.set_up)
    app.add_middleware(GZipMiddleware, minimum_size=1_000, compresslevel=4)
    for each in (router, *(module.router for module in MODULES), missing):
        app.include_router(each)


@router.get("/")
def room(request: Request, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """Every enclosure that this daemon watches, at a glance."""
    viewer = viewer_of(request)
    memory: Memory = request.app.state.memory
    view = room_view(look(parts, viewer.units, memory.setup), memory.view)
    return page(
        request,
        "room.html",
        here="room",
        view=view,
        part=words.part_of(parts.settings.broker.client_id, parts.settings.share),
        in_a_house=bool(parts.peers),
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


@missing.get("/{address:path}")
def nothing(request: Request, address: str) -> Response:
    """Say to people and programs, each in their way, that nothing is there."""
    says = f"there is nothing at /{address}"
    if "text/html" in request.headers.get("accept", ""):
        return refusal(request, HTTPStatus.NOT_FOUND, says)
    return problem(HTTPStatus.NOT_FOUND, says)


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
