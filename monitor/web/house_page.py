"""The house page: everything that the daemons of a house watch, from any of them; to look only."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from monitor.api.access import MayView
from monitor.api.house import the_house
from monitor.api.parts import GivenParts
from monitor.web.guard import Page
from monitor.web.house import house_view
from monitor.web.known import Known
from monitor.web.memory import Memory
from monitor.web.shell import page
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)


@router.get("/house")
def house(request: Request, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """Every place, those that nobody answers for first; what the others said last, at once."""
    seen, placed = the_house(parts)
    known = Known(
        now_ms=seen.at,
        setup=placed,
        library=parts.library,
        latest={},
        alarms=(),
        units=viewer_of(request).units,
    )
    memory: Memory = request.app.state.memory
    view = house_view(seen, placed, known, memory.glance)
    return page(request, "house.html", here="house", view=view)
