"""What just happened, told to whoever is looking: bounded, lossy on purpose, never waited for."""

import asyncio
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

QUEUE_EVENTS = 256
"""A browser that is this many events behind has lost its connection or its interest."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing to show: its number (counted since start), its name and what it carries."""

    number: int
    name: str
    data: Mapping[str, Any]


class Subscription:
    """One listener's queue, filled from any thread and read in its own event loop."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._queue: asyncio.Queue[Event | None] = asyncio.Queue(QUEUE_EVENTS)
        self.dropped = 0

    async def next(self) -> Event | None:
        """The next event; None when the stream has ended."""
        return await self._queue.get()

    def offer(self, event: Event | None) -> None:
        """Put an event in line; the oldest one is dropped when the line is full."""
        try:
            self._loop.call_soon_threadsafe(self._put, event)
        except RuntimeError:
            self.dropped += 1  # the listener's loop has closed

    def _put(self, event: Event | None) -> None:
        if self._queue.full():
            self._queue.get_nowait()
            self.dropped += 1
        self._queue.put_nowait(event)


class Hub:
    """Hands events to all listeners; costs next to nothing while nobody listens."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._subscriptions: set[Subscription] = set()
        self._number = 0
        self._dropped = 0
        self._ended = False

    @property
    def listeners(self) -> int:
        """How many listen now."""
        return len(self._subscriptions)

    @property
    def dropped(self) -> int:
        """Events that slow listeners missed."""
        with self._lock:
            return self._dropped + sum(s.dropped for s in self._subscriptions)

    def publish(self, name: str, data: Mapping[str, Any]) -> None:
        """Tell all listeners."""
        with self._lock:
            self._number += 1
            event = Event(self._number, name, data)
            for subscription in self._subscriptions:
                subscription.offer(event)

    def subscribe(self) -> Subscription:
        """Listen from now on; call from the event loop that will read."""
        subscription = Subscription(asyncio.get_running_loop())
        with self._lock:
            if self._ended:
                subscription.offer(None)
            self._subscriptions.add(subscription)
        return subscription

    def leave(self, subscription: Subscription) -> None:
        """Stop listening."""
        with self._lock:
            self._subscriptions.discard(subscription)
            self._dropped += subscription.dropped

    def end(self) -> None:
        """Close every stream, so that a server can stop while browsers are connected."""
        with self._lock:
            self._ended = True
            for subscription in self._subscriptions:
                subscription.offer(None)
