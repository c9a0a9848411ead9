"""A line without a broker: hands over what a test sends, remembers what was acknowledged."""

import threading
import time
from collections.abc import Callable, Sequence

from monitor.ingest.link import LinkState, Message

SHORTEST_S = 0.01
"""How long a rest lasts here, so that tests of retries are quick."""


class FakeLink:
    """Takes the place of a ``Link``; messages come in the order they were sent."""

    def __init__(self) -> None:
        self.state = LinkState(connected=True, generation=1, says="connected")
        self.acknowledged: list[Message] = []
        self.closed = False
        self._waiting: list[Message] = []
        self._sent = 0
        self._woken = False
        self._changed = threading.Condition()

    def send(self, topic: str, *payloads: bytes) -> list[Message]:
        """What a device publishes; returned as the loop gets it, all in one batch."""
        with self._changed:
            messages = []
            for payload in payloads:
                self._sent += 1
                messages.append(Message(topic, payload, self._sent, 1, self.state.generation))
            self._waiting += messages
            self._changed.notify_all()
        return messages

    def wait_acknowledged(self, within_s: float = 20.0) -> None:
        """Until everything that was sent is acknowledged."""
        self._wait(lambda: len(self.acknowledged) >= self._sent, within_s, "all acknowledged")

    def wait_closed(self, within_s: float = 20.0) -> None:
        """Until the loop has said goodbye."""
        self._wait(lambda: self.closed, within_s, "closed")

    def gather(self, wait_s: float, limit: int, linger_s: float) -> list[Message]:
        """Messages that have come."""
        del linger_s
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or self._woken, wait_s)
            self._woken = False
            got, self._waiting = self._waiting[:limit], self._waiting[limit:]
            self.state.received += len(got)
            return got

    def rest(self, wait_s: float) -> None:
        """Hardly any wait."""
        time.sleep(min(wait_s, SHORTEST_S))

    def wake(self) -> None:
        """End a wait."""
        with self._changed:
            self._woken = True
            self._changed.notify_all()

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """Remember them."""
        with self._changed:
            self.acknowledged += messages
            self._changed.notify_all()

    def close(self) -> None:
        """Say goodbye."""
        with self._changed:
            self.closed = True
            self.state.connected = False
            self._changed.notify_all()

    def _wait(self, come: Callable[[], bool], within_s: float, what: str) -> None:
        with self._changed:
            if not self._changed.wait_for(come, within_s):
                raise AssertionError(f"not within {within_s:g} s: {what}")
