"""What happens, as it happens: server-sent events."""

from collections.abc import AsyncIterable

from fastapi import APIRouter
from fastapi.sse import EventSourceResponse, ServerSentEvent

from monitor.api.access import MayView
from monitor.api.parts import GivenParts

router = APIRouter(tags=["events"])


@router.get("/events", response_class=EventSourceResponse)
async def stream_events(parts: GivenParts, _who: MayView) -> AsyncIterable[ServerSentEvent]:
    """`climate` (newest readings of one probe) and `alarm` (an alarm changed) events.

    A slow reader misses events, never delays them: after a gap in the ids look again with GET.
    """
    subscription = parts.hub.subscribe()
    try:
        while (event := await subscription.next()) is not None:
            yield ServerSentEvent(data=event.data, event=event.name, id=str(event.number))
    finally:
        parts.hub.leave(subscription)
