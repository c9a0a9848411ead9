"""Alarms: what stands, what stood, and what a keeper does about it."""

import json
import sqlite3
from collections.abc import Sequence
from datetime import UTC
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request, Response
from pydantic import Field

from monitor.alarms.model import State
from monitor.alarms.notices import whereabouts
from monitor.alarms.wording import wire
from monitor.analysis import alarm_performance
from monitor.api.access import MayOperate, MayView
from monitor.api.paging import PAGE, BeforeText, Limit, cursor, link_next
from monitor.api.parts import GivenParts, Parts
from monitor.api.spans import From, To, span
from monitor.errors import Conflict
from monitor.ingest.filing import alarm_of
from monitor.setup.models import Model
from monitor.store.rows import AlarmRow
from monitor.store.sqlite.state import alarms, explanations, setup
from monitor.times import DAY_MS, MINUTE_MS

router = APIRouter(tags=["alarms"])

LONGEST_SHELF_MIN = 7 * 24 * 60
"""The setting `longest_quiet_s` may allow less, never more."""
USUAL_MS = 30 * DAY_MS
ALL = 1_000_000
UNEXPLAINED = '{"cause": null}'


class Shelving(Model):
    """For how long an alarm is set aside."""

    minutes: float = Field(gt=0, le=LONGEST_SHELF_MIN)


@router.get("/alarms")
def list_alarms(
    parts: GivenParts,
    _who: MayView,
    request: Request,
    response: Response,
    enclosure: str | None = None,
    state: Annotated[list[State] | None, Query(description="Only in these states.")] = None,
    limit: Limit = PAGE,
    before: BeforeText = None,
) -> list[dict[str, Any]]:
    """Alarms, newest first; without `state` past ones too."""
    with parts.database.reading() as connection:
        rows = alarms.page(
            connection, place=enclosure, states=state or (), before=cursor(before), limit=limit
        )
        shown = _shown(connection, rows, parts.clock())
    if rows:
        link_next(request, response, rows, limit, f"{rows[-1].raised_at_ms}_{rows[-1].id}")
    return shown


@router.get("/alarms/performance")
def get_alarm_performance(
    parts: GivenParts,
    _who: MayView,
    start: From = None,
    end: To = None,
    enclosure: str | None = None,
) -> dict[str, Any]:
    """How well the alarms do: rates, floods, what stands, chatters or is stale, the ten worst.

    Without a span the last 30 days.
    """
    start_ms, end_ms = span(start, end, parts.clock(), USUAL_MS)
    with parts.database.reading() as connection:
        if enclosure is not None:
            setup.get(connection, enclosure)
        # Earlier ones too: they may have stood at the end.
        rows = alarms.page(
            connection,
            place=enclosure,
            since_ms=start_ms - USUAL_MS,
            until_ms=end_ms,
            limit=ALL,
        )
        known = {row.id for row in rows}
        rows += [
            row
            for row in alarms.still_open(connection)
            if row.id not in known and enclosure in (None, row.place)
        ]
    figures = alarm_performance.performance(map(alarm_of, rows), start_ms, end_ms)
    return alarm_performance.wire(figures)


@router.get("/alarms/{alarm}")
def get_alarm(alarm: str, parts: GivenParts, _who: MayView) -> dict[str, Any]:
    """One alarm."""
    with parts.database.reading() as connection:
        return _shown(connection, [alarms.get(connection, alarm)], parts.clock())[0]


@router.post("/alarms/{alarm}/acknowledge")
def acknowledge_alarm(alarm: str, parts: GivenParts, who: MayOperate) -> dict[str, Any]:
    """Say that it was seen."""
    _must_be_open(parts, alarm)
    parts.ask(lambda pipeline, now_ms: pipeline.acknowledge(alarm, who, now_ms))
    return get_alarm(alarm, parts, who)


@router.post("/alarms/{alarm}/unshelve")
def unshelve_alarm(alarm: str, parts: GivenParts, who: MayOperate) -> dict[str, Any]:
    """Take it back before its time is up."""
    _must_be_open(parts, alarm)
    parts.ask(lambda pipeline, now_ms: pipeline.unshelve(alarm, who, now_ms))
    return get_alarm(alarm, parts, who)


@router.post("/alarms/{alarm}/shelve")
def shelve_alarm(
    alarm: str, parts: GivenParts, who: MayOperate, shelving: Annotated[Shelving, Body()]
) -> dict[str, Any]:
    """Set it aside for a while; when the time is up it is looked at afresh."""
    _must_be_open(parts, alarm)
    ms = round(shelving.minutes * MINUTE_MS)
    parts.ask(lambda pipeline, now_ms: pipeline.shelve(alarm, now_ms + ms, who, now_ms))
    return get_alarm(alarm, parts, who)


def _shown(
    connection: sqlite3.Connection, rows: Sequence[AlarmRow], now_ms: int
) -> list[dict[str, Any]]:
    places = whereabouts(setup.everything(connection)) if rows else {}
    why = explanations.of(connection, [row.id for row in rows])
    return [
        wire(alarm_of(row), place.zone if (place := places.get(row.place)) else UTC, now_ms)
        | json.loads(why.get(row.id, UNEXPLAINED))
        for row in rows
    ]


def _must_be_open(parts: Parts, alarm: str) -> None:
    with parts.database.reading() as connection:
        if alarms.get(connection, alarm).closed:
            raise Conflict(f"alarm {alarm!r} is over; there is nothing left to do about it")
