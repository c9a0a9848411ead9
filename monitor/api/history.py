"""The history of the set-up: who changed what, and when."""

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response

from monitor.api.access import MayView
from monitor.api.paging import PAGE, Limit, link_next
from monitor.api.parts import GivenParts
from monitor.setup.changes import details, summary
from monitor.store.sqlite.state import setup

router = APIRouter(tags=["set-up"])

LAST_NUMBER = 2**53 - 1
Number = Annotated[int | None, Query(ge=1, le=LAST_NUMBER, description="Taken from Link.")]


@router.get("/setup/history")
def list_changes(
    parts: GivenParts,
    _who: MayView,
    request: Request,
    response: Response,
    place: Annotated[str | None, Query(description="Only this room or enclosure.")] = None,
    limit: Limit = PAGE,
    before: Number = None,
) -> list[dict[str, Any]]:
    """Changes, newest first, with what each did in words."""
    with parts.database.reading() as connection:
        changes = setup.history(connection, place, before=before, limit=limit)
    if changes:
        link_next(request, response, changes, limit, str(changes[-1].revision))
    return [summary(each) for each in changes]


@router.get("/setup/history/{number}")
def get_change(number: int, parts: GivenParts, _who: MayView) -> dict[str, Any]:
    """One change: every key that it touched, and the place before and after."""
    with parts.database.reading() as connection:
        return details(setup.change(connection, min(number, LAST_NUMBER)))
