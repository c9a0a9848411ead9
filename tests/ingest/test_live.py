"""The live stream: bounded, lossy on purpose, never waited for."""

import asyncio
import threading

from monitor.ingest.live import QUEUE_EVENTS, Event, Hub, Subscription


async def heard(subscription: Subscription) -> list[Event]:
    """Everything up to the end of the stream."""
    events = []
    while (event := await subscription.next()) is not None:
        events.append(event)
    return events


def test_all_listeners_hear_what_comes_after_they_came() -> None:
    """In order, numbered from the daemon's start, from whatever thread it is published."""

    async def listen() -> tuple[list[Event], list[Event]]:
        hub = Hub()
        hub.publish("climate", {"n": 0})
        early = hub.subscribe()
        hub.publish("climate", {"n": 1})
        late = hub.subscribe()
        thread = threading.Thread(target=hub.publish, args=("alarm", {"n": 2}))
        thread.start()
        thread.join()
        hub.end()
        return await heard(early), await heard(late)

    early, late = asyncio.run(listen())
    assert early == [Event(2, "climate", {"n": 1}), Event(3, "alarm", {"n": 2})]
    assert late == [Event(3, "alarm", {"n": 2})]


def test_a_slow_listener_loses_the_oldest_and_nobody_waits() -> None:
    """Its queue is bounded; what it missed is counted, also after it has left."""

    async def listen() -> tuple[Hub, list[Event]]:
        hub = Hub()
        slow = hub.subscribe()
        for n in range(QUEUE_EVENTS + 10):
            hub.publish("climate", {"n": n})
        await asyncio.sleep(0)
        assert hub.dropped == 10
        hub.end()
        events = await heard(slow)
        hub.leave(slow)
        return hub, events

    hub, events = asyncio.run(listen())
    assert [event.data["n"] for event in events] == list(range(10, QUEUE_EVENTS + 10))
    assert hub.dropped == 10
    assert hub.listeners == 0


def test_who_comes_after_the_end_is_told_at_once() -> None:
    """A browser that connects again while the daemon stops does not hold it up."""

    async def listen() -> list[Event]:
        hub = Hub()
        hub.end()
        return await heard(hub.subscribe())

    assert asyncio.run(listen()) == []


def test_a_listener_whose_loop_is_gone_hurts_nobody() -> None:
    """Publishing goes on; what it missed is counted."""
    hub = Hub()

    async def come() -> Subscription:
        return hub.subscribe()

    asyncio.run(come())
    hub.publish("climate", {})

    assert hub.dropped == 1
