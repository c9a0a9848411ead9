"""Can the probes be believed? What is advised about them."""

from typing import Annotated, Any

from fastapi import APIRouter, Query

from monitor.api.access import MayView
from monitor.api.parts import GivenParts
from monitor.jobs.trusting import Trusting

router = APIRouter(tags=["probes"])

Fresh = Annotated[bool, Query(description="Look now, whatever was found of late.")]


@router.get("/probes/trust")
def get_all_trust(parts: GivenParts, _who: MayView, fresh: Fresh = False) -> list[dict[str, Any]]:
    """Every probe of every room and enclosure, and the maintenance that is advised."""
    trusting = Trusting(parts.database, parts.readings)
    return trusting.everywhere(parts.clock(), fresh=fresh)


@router.get("/enclosures/{place}/probes/trust")
@router.get("/rooms/{place}/probes/trust", name="get_room_trust")
def get_trust(place: str, parts: GivenParts, _who: MayView, fresh: Fresh = False) -> dict[str, Any]:
    """The same of one place."""
    return Trusting(parts.database, parts.readings).of(place, parts.clock(), fresh=fresh)
