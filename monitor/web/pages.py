"""The pages' addresses: look things up, have the view worked out, render it."""

import json
import sqlite3
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, FastAPI, Query, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from monitor.api.access import MayOperate, MayView
from monitor.api.parts import GivenParts, Parts
from monitor.errors import Conflict, NotFound
from monitor.ingest import filing
from monitor.ingest.pipeline import Pipeline
from monitor.quantities import Quantity
from monitor.setup.journal import Misted
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import explanations, journal, setup
from monitor.web import words
from monitor.web.enclosure import ranges_at, ribbon_probe
from monitor.web.guard import Page, same_origin
from monitor.web.known import Explanation, Known, Past
from monitor.web.rendering import ASSETS, render
from monitor.web.ribbon import POINTS, WINDOW_MS
from monitor.web.room import room_view

router = APIRouter(route_class=Page, include_in_schema=False)

MOST_MISTINGS = 200
FOR_A_YEAR = "public, max-age=31536000, immutable"


def install(app: FastAPI) -> None:
    """Add the pages to the application."""
    app.include_router(router)


@router.get("/")
def room(parts: GivenParts, _who: MayView) -> HTMLResponse:
    """Every enclosure at a glance."""
    return HTMLResponse(render("room.html", view=room_view(_known(parts)), seen_at=seen_at))


@router.post("/seen", dependencies=[Depends(same_origin)])
def seen(
    parts: GivenParts,
    who: MayOperate,
    place: Annotated[str, Query()],
    alarm: Annotated[list[str], Query()],
) -> RedirectResponse:
    """Acknowledge the alarms that were shown, no others, and go back to where they stood."""
    parts.ask(lambda pipeline, now_ms: _acknowledge(pipeline, alarm, who, now_ms))
    return RedirectResponse(f"/#{place}", 303)


@router.get("/static/{name}")
def static(name: str) -> Response:
    """A style sheet, script or drawing; open to all, for nothing in it is anybody's."""
    if name not in ASSETS:
        raise NotFound(f"no file {name!r}")
    asset = ASSETS[name]
    return Response(
        asset.content, media_type=asset.media_type, headers={"Cache-Control": FOR_A_YEAR}
    )


def seen_at(place: str, alarms: list[str]) -> str:
    """Where to say that these alarms were seen."""
    return f"/seen?{urlencode({'place': place, 'alarm': alarms}, doseq=True)}"


def _acknowledge(pipeline: Pipeline, alarms: list[str], who: str, now_ms: int) -> None:
    for alarm in alarms:
        try:
            pipeline.acknowledge(alarm, who, now_ms)
        except (Conflict, NotFound):
            # Another keeper was faster, or it is over: the page that follows shows how it is.
            continue


def _known(parts: Parts) -> Known:
    now_ms = parts.clock()
    newest = parts.readings.latest()
    latest = {
        key: newest[series]
        for key, series in parts.readings.known_series().items()
        if series in newest
    }
    with parts.database.reading() as connection:
        placed = setup.everything(connection)
        alarms = filing.open_alarms(connection)
        explained = explanations.of(connection, [alarm.id for alarm in alarms])
        mistings = {each.id: _mistings(connection, each.id, now_ms) for each in placed.enclosure}
    past: dict[str, Past] = {}
    for each in placed.enclosure:
        probe = ribbon_probe(each, ranges_at(each, parts.library, now_ms), latest.keys(), alarms)
        if probe is not None:
            humidity = SeriesKey(each.id, probe.id, Quantity.HUMIDITY)
            buckets = parts.readings.buckets(humidity, now_ms - WINDOW_MS, now_ms, POINTS)
            past[each.id] = Past(probe, buckets, mistings[each.id])
    return Known(
        now_ms=now_ms,
        setup=placed,
        library=parts.library,
        latest=latest,
        alarms=alarms,
        explanations={alarm: _explanation(body) for alarm, body in explained.items()},
        past=past,
        troubles=_troubles(parts),
    )


def _explanation(body: str) -> Explanation:
    cause = json.loads(body)["cause"]
    return Explanation(cause["says"], cause["check_first"])


def _mistings(connection: sqlite3.Connection, enclosure: str, now_ms: int) -> list[Misted]:
    rows = journal.page(
        connection,
        enclosure,
        kinds=("misted",),
        since_ms=now_ms - WINDOW_MS,
        limit=MOST_MISTINGS,
    )
    return [row.entry for row in rows if isinstance(row.entry, Misted)]


def _troubles(parts: Parts) -> list[str]:
    """What ails dewkeep itself, for the keeper who would otherwise trust an old picture."""
    link, loop = parts.loop.link.state, parts.loop.state()
    if not loop.alive:
        return [words.NO_LOOP]
    troubles = [] if link.connected else [words.NO_BROKER.format(link.says)]
    if loop.store_says is not None:
        troubles.append(words.NO_STORE.format(loop.store_says))
    return troubles
