"""The page behind a link in a notification: one button that acknowledges one alarm, once.

Mail scanners and previews follow links, so that following one changes nothing; the button does.
"""

import datetime as dt
import json
from html import escape
from http import HTTPStatus
from typing import NamedTuple

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from monitor.alarms.model import Alarm
from monitor.alarms.notices import Whereabouts, whereabouts
from monitor.alarms.policy import CALLING
from monitor.alarms.records import load_alarm
from monitor.alarms.wording import clock, says
from monitor.api.access import LINKS
from monitor.api.parts import GivenParts, Parts
from monitor.errors import Conflict, NotFound, StoreUnavailable
from monitor.store.sqlite.state import alarms, explanations, links, setup
from monitor.store.sqlite.state.links import Standing, Ticket

router = APIRouter(include_in_schema=False, default_response_class=HTMLResponse)

BY_LINK = "link"
"""Who acted, when a link did."""

_HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex",
}
_PAGE = """<!doctype html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<meta name="color-scheme" content="light dark">
<title>{title}</title>
<style>
body {{ font: 1.2rem/1.5 sans-serif; max-width: 32rem; margin: 2rem auto; padding: 0 1rem }}
button {{ font: inherit; width: 100%; padding: 1rem }}
</style>
<h1>{title}</h1>
{body}
</html>
"""
_NO_LONGER = {Standing.SPENT: "was used already", Standing.EXPIRED: "has expired"}
_BUTTON = '<form method="post"><button>Acknowledge</button></form>'


class _Found(NamedTuple):
    """What a genuine ticket is for."""

    ticket: Ticket
    standing: Standing
    alarm: Alarm
    place: Whereabouts
    why: str | None
    """What is known of its cause, as JSON."""


@router.get(LINKS + "{alarm}/{ticket}")
def ask(alarm: str, ticket: str, parts: GivenParts) -> HTMLResponse:
    """Show the alarm, and the button if it can be acknowledged."""
    found = _find(parts, alarm, ticket)
    if found is None:
        return _no_link()
    now_ms = parts.clock()
    if found.standing is not Standing.GOOD:
        status = HTTPStatus.GONE
        ending = f"<p>This link {_NO_LONGER[found.standing]}.</p>"
    elif found.alarm.state in CALLING:
        status, ending = HTTPStatus.OK, _BUTTON
    else:
        status, ending = HTTPStatus.OK, "<p>There is nothing left to acknowledge.</p>"
    return _page(status, found.place.name, _told(found, now_ms) + ending)


@router.post(LINKS + "{alarm}/{ticket}")
def acknowledge(alarm: str, ticket: str, parts: GivenParts) -> HTMLResponse:
    """Acknowledge the alarm, and use the ticket up."""
    found = _find(parts, alarm, ticket)
    if found is None:
        return _no_link()
    with parts.database.transaction() as connection:
        good = links.spend(connection, found.ticket, parts.clock())
    if not good:
        return ask(alarm, ticket, parts)
    try:
        parts.ask(lambda pipeline, now_ms: pipeline.acknowledge(alarm, BY_LINK, now_ms))
    except (NotFound, Conflict):
        status, title = HTTPStatus.CONFLICT, "Nothing left to acknowledge"
    except StoreUnavailable:
        with parts.database.transaction() as connection:
            links.give_back(connection, found.ticket)
        status, title = HTTPStatus.SERVICE_UNAVAILABLE, "Not now: please try again"
    else:
        status, title = HTTPStatus.OK, "Acknowledged"
    now = _find(parts, alarm, ticket) or found
    return _page(status, title, _told(now, parts.clock()))


def _find(parts: Parts, alarm_id: str, text: str) -> _Found | None:
    with parts.database.reading() as connection:
        ticket = links.read(links.known_secret(connection), alarm_id, text)
        if ticket is None:
            return None
        try:
            alarm = load_alarm(alarms.get(connection, alarm_id).body)
        except NotFound:
            return None
        name = alarm.point.place
        place = whereabouts(setup.everything(connection)).get(name, Whereabouts(name, dt.UTC))
        standing = links.standing(connection, ticket, parts.clock())
        why = explanations.of(connection, [alarm_id]).get(alarm_id)
        return _Found(ticket, standing, alarm, place, why)


def _told(found: _Found, now_ms: int) -> str:
    alarm, zone = found.alarm, found.place.zone
    lines = [says(alarm, zone, now_ms)]
    cause = json.loads(found.why)["cause"] if found.why is not None else None
    if cause is not None:
        lines.append(cause["says"])
    if alarm.acknowledged_at_ms is not None:
        when = clock(alarm.acknowledged_at_ms, zone, now_ms)
        lines.append(f"Acknowledged at {when} by {alarm.acknowledged_by}.")
    return "".join(f"<p>{escape(line)}</p>" for line in lines)


def _no_link() -> HTMLResponse:
    return _page(HTTPStatus.NOT_FOUND, "No such link", "<p>It was cut off, or never made.</p>")


def _page(status: HTTPStatus, title: str, body: str) -> HTMLResponse:
    return HTMLResponse(_PAGE.format(title=escape(title), body=body), status, headers=_HEADERS)
