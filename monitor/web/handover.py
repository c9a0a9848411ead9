"""The hand-over sheet: what whoever receives an enclosure must know, on paper.

It is made from the set-up, the profiles and the journal; docs/handover.md tells what stands on it.
"""

from ipaddress import ip_address
from urllib.parse import urlsplit

import segno
from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from monitor.api.access import MayView
from monitor.api.parts import GivenParts
from monitor.errors import NotFound
from monitor.setup.company import company_of, day_of
from monitor.setup.models import Enclosure
from monitor.species.library import Library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import journal, setup
from monitor.times import DAY_MS
from monitor.web.guard import Page
from monitor.web.rendering import ASSETS, render
from monitor.web.sheet import (
    MISTED_DAYS,
    Sheet,
    date_of,
    drying_of,
    misting_of,
    noted,
    residents_of,
    rows_of,
    seasons_of,
    watch_of,
)

router = APIRouter(route_class=Page, include_in_schema=False)

MOST_MISTINGS = 1_000
NOTES = {"fed": 6, "moult": 4, "maintenance": 6, "inspection": 3, "note": 4}
"""How many of the last entries of each kind stand on the sheet."""


@router.get("/enclosures/{enclosure}/handover")
def handover(enclosure: str, parts: GivenParts, _who: MayView, request: Request) -> HTMLResponse:
    """The sheet of one enclosure, made for printing."""
    base = parts.settings.server.public_url or str(request.base_url)
    found = sheet(parts.database, parts.library, enclosure, parts.clock(), str(base))
    return HTMLResponse(render("handover.html", sheet=found, style=None))


def standalone(found: Sheet) -> str:
    """The sheet as one file with its style inside."""
    style = Markup(ASSETS["handover.css"].content.decode())  # noqa: S704 - our own file
    return render("handover.html", sheet=found, style=style)


def sheet(
    database: Database, library: Library, enclosure: str, now_ms: int, base: str | None
) -> Sheet:
    """Gather what the sheet tells.

    ``base`` is the address under which the page is reached, None if that is not known.

    Raises:
        NotFound: no such enclosure, or no profile of one of its inhabitants.
    """
    with database.reading() as connection:
        place, _ = setup.get(connection, enclosure)
        if not isinstance(place, Enclosure):
            raise NotFound(f"no enclosure {enclosure!r} is set up")
        lately = {
            kind: journal.page(connection, enclosure, kinds=(kind,), limit=limit)
            for kind, limit in NOTES.items()
        }
        plans = journal.page(connection, enclosure, kinds=("misting_plan",), limit=1)
        since_ms = now_ms - MISTED_DAYS * DAY_MS
        mistings = journal.page(
            connection, enclosure, kinds=("misted",), since_ms=since_ms, limit=MOST_MISTINGS
        )
    today = day_of(place, now_ms)
    found = company_of(place, library, today)
    address = _reachable(base, enclosure)
    return Sheet(
        enclosure=place,
        date=date_of(today),
        residents=residents_of(place, library),
        rows=rows_of(place, found),
        seasons=seasons_of(found),
        drying=drying_of(found),
        misting=misting_of(place, plans, mistings),
        noted={kind: [noted(place, row) for row in rows] for kind, rows in lately.items() if rows},
        watch=watch_of(place, found),
        cautions=[f"{each.name}: {caution}" for each in found.company for caution in each.cautions],
        address=address,
        code=None if address is None else _code(address),
    )


def _reachable(base: str | None, enclosure: str) -> str | None:
    """The page's address, unless it would lead a phone to itself."""
    if base is None:
        return None
    host = urlsplit(base).hostname or ""
    try:
        loopback = ip_address(host).is_loopback
    except ValueError:
        loopback = host == "localhost" or host.endswith(".localhost")
    return None if loopback else f"{base.rstrip('/')}/#{enclosure}"


def _code(address: str) -> Markup:
    made = segno.make(address, error="m", micro=False)
    inline = made.svg_inline(omitsize=True, border=0, svgclass="code", lineclass=None)
    return Markup(inline)  # noqa: S704 - segno writes nothing of the text into it
