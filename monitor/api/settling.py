"""Has a new build settled?"""

from typing import Annotated, Any

from fastapi import APIRouter, Query

from monitor.api.access import MayView
from monitor.api.parts import GivenParts
from monitor.api.spans import Instant
from monitor.jobs.settling import settling_of, wire

router = APIRouter(tags=["settling"])


@router.get("/enclosures/{enclosure}/settling")
def get_settling(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    at: Annotated[Instant | None, Query(description="As of then; default: now.")] = None,
) -> dict[str, Any]:
    """The verdict, every criterion with its reason, and what holds it up.

    It speaks about the enclosure only and never replaces looking at the animal.
    """
    at_ms = parts.clock() if at is None else at
    found = settling_of(parts.database, parts.readings, parts.library, enclosure, at_ms)
    return wire(enclosure, found)
