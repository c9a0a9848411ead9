"""The alarms page: what calls, what was seen, what is over; reasons, figures, what to do."""

import datetime as dt
import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from monitor.alarms.model import DAEMON, Alarm, Condition, State
from monitor.alarms.notices import Whereabouts, whereabouts
from monitor.api.access import MayOperate, MayView
from monitor.api.paging import cursor
from monitor.api.parts import GivenParts, Parts
from monitor.errors import Conflict, NotFound
from monitor.ingest import filing
from monitor.ingest.pipeline import Pipeline
from monitor.quantities import Quantity
from monitor.setup.models import Setup
from monitor.store.sqlite.state import alarms, explanations, setup
from monitor.times import MINUTE_MS
from monitor.web import words
from monitor.web.calls import AlarmView, Call, alarm_view
from monitor.web.guard import Page
from monitor.web.shell import GivenForm, page
from monitor.web.sign_in import safe
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)

HISTORY = 40
MOST_FORECASTS = 12
"""A forecast takes a while to work out; it is told for so many alarms at most."""
CALLING = (Call.AT_ONCE, Call.TODAY, Call.BACK)


class Told(NamedTuple):
    """A name and what is to be said of it."""

    name: str
    says: str


@dataclass(frozen=True, slots=True)
class Shown:
    """One alarm with all that is known of it; ``address`` leads to its enclosure."""

    id: str
    place: str
    address: str | None
    view: AlarmView
    cause: str | None
    could_be: str | None
    check_first: Sequence[str]
    figures: Sequence[Told]
    forecast: str | None
    can_shelve: bool
    shelved: bool


@router.get("/alarms")
def listed(
    request: Request,
    parts: GivenParts,
    _who: MayView,
    place: str | None = None,
    before: Annotated[str | None, Query(max_length=300)] = None,
) -> HTMLResponse:
    """Open alarms, the loudest first, then those that are over, newest first."""
    now_ms, units = parts.clock(), viewer_of(request).units
    start = cursor(before)
    with parts.database.reading() as connection:
        placed = setup.everything(connection)
        known = whereabouts(placed)
        open_now = [] if start else filing.open_alarms(connection)
        past = alarms.page(
            connection, place=place, states=[State.NORMAL], before=start, limit=HISTORY + 1
        )
        over = [filing.alarm_of(row) for row in past[:HISTORY]]
        why = _why(connection, [*open_now, *over])
    wanted = [alarm for alarm in open_now if place in (None, alarm.point.place)]
    forecasts = _forecasts(parts, placed, wanted)
    shown = sorted(
        (_shown(each, known, why, forecasts, now_ms, units) for each in wanted),
        key=lambda each: each.view.call,
    )
    last = over[-1] if len(past) > HISTORY else None
    return page(
        request,
        "alarms.html",
        here="alarms",
        calling=[each for each in shown if each.view.call in CALLING],
        known=[each for each in shown if each.view.call not in CALLING],
        over=[_shown(each, known, why, {}, now_ms, units) for each in over],
        older=None if last is None else f"{last.raised_at_ms}_{last.id}",
        later=start is not None,
        only=known[place].name if place in known else place,
        only_id=place,
    )


@router.post("/alarms/shelve")
def shelve(parts: GivenParts, who: MayOperate, form: GivenForm) -> RedirectResponse:
    """Set an alarm aside for a while, or take it back."""
    alarm, minutes = form.text("alarm"), form.text("minutes")
    if minutes and minutes not in words.SHELVES:
        raise HTTPException(422, f"{minutes!r} is none of the times offered")

    def act(pipeline: Pipeline, now_ms: int) -> None:
        try:
            if minutes:
                pipeline.shelve(alarm, now_ms + int(minutes) * MINUTE_MS, who, now_ms)
            else:
                pipeline.unshelve(alarm, who, now_ms)
        except (Conflict, NotFound):
            # Another keeper was faster, or it is over: the page that follows shows how it is.
            return

    parts.ask(act)
    return RedirectResponse(safe(form.text("back")), 303)


def _why(connection: sqlite3.Connection, of: Sequence[Alarm]) -> dict[str, dict[str, Any]]:
    bodies = explanations.of(connection, [alarm.id for alarm in of])
    causes = ((alarm, json.loads(body)["cause"]) for alarm, body in bodies.items())
    return {alarm: cause for alarm, cause in causes if cause is not None}


def _forecasts(parts: Parts, placed: Setup, of: Sequence[Alarm]) -> dict[str, str]:
    """When the other limit of an alarm's probe, or its own again, will be crossed."""
    places = {each.id: each for each in placed.enclosure}
    told = {}
    for alarm in of[:MOST_FORECASTS]:
        place = places.get(alarm.point.place)
        if place is None or alarm.point.quantity is not Quantity.HUMIDITY:
            continue
        for probe in place.probe:
            if probe.id == alarm.point.probe:
                says = coming(parts.foresight.of(place, probe), alarm.point.condition)
                if says:
                    told[alarm.id] = says
    return told


def coming(ahead: Mapping[str, Any], condition: Condition) -> str:
    """Which limits will be crossed and when, beside an alarm of a condition; may be empty."""
    own = "low" if condition in (Condition.LOW, Condition.CRITICAL_LOW) else "high"
    return " ".join(
        (words.AHEAD_AGAIN if side == own else words.AHEAD)[side].format(told["says"])
        for side, told in ahead.items()
        if told["likely"] is not None
    )


def _shown(
    alarm: Alarm,
    known: Mapping[str, Whereabouts],
    why: Mapping[str, Mapping[str, Any]],
    forecasts: Mapping[str, str],
    now_ms: int,
    units: Units,
) -> Shown:
    place = known.get(alarm.point.place, Whereabouts(alarm.point.place, dt.UTC))
    daemon = alarm.point.place == DAEMON
    cause = why.get(alarm.id)
    return Shown(
        id=alarm.id,
        place=words.DEWKEEP if daemon else place.name,
        address=None if daemon else f"/enclosures/{alarm.point.place}",
        view=alarm_view(alarm, place.zone, now_ms),
        cause=None if cause is None else cause["says"],
        could_be=_could_be(cause),
        check_first=() if cause is None else cause["check_first"],
        figures=[*_own_figures(alarm, units), *_cause_figures(cause)],
        forecast=forecasts.get(alarm.id),
        can_shelve=alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED),
        shelved=alarm.state is State.SHELVED,
    )


def _own_figures(alarm: Alarm, units: Units) -> list[Told]:
    quantity = alarm.point.quantity
    if quantity is None:
        return []
    return [
        Told(name, units.text(quantity, value))
        for name, value in (
            (words.LIMIT, alarm.limit),
            (words.AT_FIRST, alarm.value),
            (words.WORST, alarm.extreme),
        )
        if value is not None
    ]


def _cause_figures(cause: Mapping[str, Any] | None) -> list[Told]:
    if cause is None:
        return []
    return [
        Told(words.FIGURES[each["name"]], words.figure(each["value"], each["unit"]))
        for each in cause["figures"]
        if each["name"] in words.FIGURES
    ]


def _could_be(cause: Mapping[str, Any] | None) -> str | None:
    """How much of the fall was water, where that could be told."""
    if cause is None or cause["water_share"] is None:
        return None
    low, high = cause["water_share_low"], cause["water_share_high"]
    return words.WATER_SHARE.format(
        round(100 * cause["water_share"]), round(100 * low), round(100 * high)
    )
