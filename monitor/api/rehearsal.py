"""Other ranges tried on what was recorded: which alarms they would have raised."""

from typing import Annotated, Any

from fastapi import APIRouter, Body

from monitor.alarms.outcome import wire
from monitor.api.access import MayView
from monitor.api.parts import GivenParts, Parts
from monitor.api.places import check_species
from monitor.api.problems import unfit
from monitor.api.spans import From, To, span
from monitor.jobs.rehearser import Rehearser
from monitor.setup.models import Enclosure
from monitor.times import DAY_MS

router = APIRouter(tags=["rehearsal"])

USUAL_MS = 30 * DAY_MS
LONGEST_MS = 400 * DAY_MS


@router.get("/enclosures/{enclosure}/rehearsal")
def get_rehearsal(
    enclosure: str, parts: GivenParts, _who: MayView, start: From = None, end: To = None
) -> dict[str, Any]:
    """The alarms the set-up as it is would have raised, beside those that were; last 30 days."""
    return _answer(parts, enclosure, start, end, None)


@router.post("/enclosures/{enclosure}/rehearsal")
def post_rehearsal(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    body: Annotated[Enclosure, Body(description="The enclosure as it might be set up.")],
    start: From = None,
    end: To = None,
) -> dict[str, Any]:
    """The same for a changed enclosure too. Nothing is set up by it."""
    if body.id != enclosure:
        says = f"is {body.id!r}, but the address names {enclosure!r}"
        raise unfit((("body", "id"), says))
    check_species(parts, body.inhabitant)
    return _answer(parts, enclosure, start, end, body)


def _answer(
    parts: Parts, enclosure: str, start: int | None, end: int | None, changed: Enclosure | None
) -> dict[str, Any]:
    now_ms = parts.clock()
    start_ms, end_ms = span(start, end, now_ms, USUAL_MS)
    if end_ms - start_ms > LONGEST_MS:
        says = (
            f"lies more than {LONGEST_MS // DAY_MS} days before `to`; ask for less, or use "
            "`dewkeep rehearse`, which takes its time"
        )
        raise unfit((("query", "from"), says))
    rehearser = Rehearser(parts.database, parts.readings, parts.library, parts.settings.alarms)
    return wire(rehearser.outcome(enclosure, start_ms, end_ms, now_ms, changed))
