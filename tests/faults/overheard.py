"""A line that notes which messages went along it, and which of them were confirmed (MQTT 3.1.1)."""

import threading
import time
from collections.abc import Iterator
from typing import NamedTuple

from tests.faults.line import Line

PUBLISH, PUBACK = 3, 4


class Told(NamedTuple):
    """A message as it was published; the story tells none twice."""

    topic: str
    payload: bytes


class Overheard(Line):
    """Between devices or daemon and the broker."""

    def __init__(self, server_port: int) -> None:
        super().__init__(server_port)
        self.published: dict[Told, int] = {}
        """How often each message went along the line."""
        self.confirmed: dict[Told, float] = {}
        """When the PUBACK of each came back along it, on ``time.monotonic``."""
        self._lock = threading.Lock()
        self._begun: dict[tuple[int, bool], bytearray] = {}
        self._unconfirmed: dict[tuple[int, bool, int], Told] = {}

    def passes(self, connection: int, by_server: bool, data: bytes) -> None:
        """Note what is in it."""
        with self._lock:
            stream = self._begun.setdefault((connection, by_server), bytearray())
            stream += data
            for first, body in _whole_packets(stream):
                if first >> 4 == PUBLISH and first & 0b0110:
                    topic_end = 2 + int.from_bytes(body[:2])
                    told = Told(body[2:topic_end].decode(), body[topic_end + 2 :])
                    mid = int.from_bytes(body[topic_end : topic_end + 2])
                    self.published[told] = self.published.get(told, 0) + 1
                    self._unconfirmed[connection, by_server, mid] = told
                elif first >> 4 == PUBACK:
                    mid = int.from_bytes(body[:2])
                    told = self._unconfirmed.pop((connection, not by_server, mid))
                    self.confirmed[told] = time.monotonic()


def _whole_packets(stream: bytearray) -> Iterator[tuple[int, bytes]]:
    """First byte and body of each packet that is all there; they leave the stream."""
    while True:
        length = shift = 0
        for at in range(1, min(5, len(stream))):
            length |= (stream[at] & 0x7F) << shift
            shift += 7
            if stream[at] < 0x80:
                break
        else:
            return
        if len(stream) < at + 1 + length:
            return
        packet = bytes(stream[: at + 1 + length])
        del stream[: at + 1 + length]
        yield packet[0], packet[at + 1 :]
