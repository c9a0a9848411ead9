"""A device: publishes readings with QoS 1 and keeps what is not acknowledged."""

import json
from collections.abc import Iterable
from types import TracebackType
from typing import Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.support.waiting import eventually


def senml(at_s: float, temperature: float, humidity: float) -> bytes:
    """A pack as a probe sends it."""
    return json.dumps(
        [
            {"bt": at_s, "n": "temperature", "u": "Cel", "v": temperature},
            {"n": "humidity", "u": "%RH", "v": humidity},
        ]
    ).encode()


class Publisher:
    """A connection to a broker, by default of this machine, that outlives the broker's absence."""

    def __init__(self, port: int, host: str = "127.0.0.1") -> None:
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.max_queued_messages_set(0)
        self._client.max_inflight_messages_set(500)
        self._client.reconnect_delay_set(1, 1)
        self._client.connect(host, port)
        self._client.loop_start()
        self._last: mqtt.MQTTMessageInfo | None = None

    def send(self, topic: str, payload: bytes) -> None:
        """Publish one message; waits for the broker if it is away."""
        if not self._client.is_connected():
            eventually(self._client.is_connected, "the publisher connected", within_s=60.0)
        self._last = self._client.publish(topic, payload, qos=1)

    def send_all(self, messages: Iterable[tuple[str, bytes]]) -> None:
        """Publish many and wait until the broker has them."""
        for topic, payload in messages:
            self.send(topic, payload)
        self.flush()

    def flush(self, within_s: float = 60.0) -> None:
        """Wait until the broker has everything."""
        if self._last is not None:
            self._last.wait_for_publish(within_s)
            assert self._last.is_published()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()
