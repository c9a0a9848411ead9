"""A subscriber that remembers what it was sent."""

import threading
from collections.abc import Callable
from types import TracebackType
from typing import Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion


class Listener:
    """Subscribed to one filter of a local broker from when it is entered."""

    def __init__(self, port: int, topic_filter: str) -> None:
        self.received: list[mqtt.MQTTMessage] = []
        self._ready = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.on_message = lambda _client, _data, message: self.received.append(message)
        self._client.on_subscribe = self._subscribed()
        self._client.connect("127.0.0.1", port)
        self._client.subscribe(topic_filter, qos=1)

    def publish(self, topic: str, payload: bytes = b"x", *, retain: bool = False) -> None:
        """Publish something itself, after all that it was subscribed to."""
        self._client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)

    def __enter__(self) -> Self:
        self._client.loop_start()
        assert self._ready.wait(10), "the broker does not answer"
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _subscribed(self) -> Callable[..., None]:
        return lambda *_: self._ready.set()
