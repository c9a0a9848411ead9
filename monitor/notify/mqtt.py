"""MQTT: each notice as a message, on a connection that is made for it."""

import time
from collections.abc import Callable

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.reasoncodes import ReasonCode

from monitor.errors import DeliveryError
from monitor.setup.address import MqttServer
from monitor.store.rows import Notice

TIMEOUT_S = 10.0
"""For the broker's answer to a connection, and for that to a message."""


class MqttChannel:
    """Publishes on one topic with QoS 1.

    Alarms are rare: a connection for each leaves nothing open that would have to be looked after,
    and nothing in line behind the outbox's back.
    """

    def __init__(
        self,
        server: MqttServer,
        password: str | None,
        *,
        client_id: str,
        topic: str,
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self._server = server
        self._new_client = client_maker(server, password, client_id)
        self._topic = topic
        self._timeout_s = timeout_s
        self._told = f"broker {server.host}:{server.port}"

    def deliver(self, notice: Notice) -> None:
        """Publish a notice; returns once the broker has acknowledged it."""
        client = self._new_client()
        client.connect_timeout = self._timeout_s
        answers: list[ReasonCode] = []
        client.on_connect = lambda _client, _userdata, _flags, reason, _properties: answers.append(
            reason
        )
        try:
            client.connect(self._server.host, self._server.port)
            self._turn(client, lambda: bool(answers))
            if answers[0].is_failure:
                raise DeliveryError(f"{self._told}: refuses us: {answers[0]}")
            sent = client.publish(self._topic, notice.body, qos=1)
            self._turn(client, sent.is_published)
            client.disconnect()
        except (OSError, ValueError, RuntimeError) as exc:
            raise DeliveryError(f"{self._told}: {exc}") from exc
        finally:
            _hang_up(client)

    def _turn(self, client: paho.Client, is_so: Callable[[], bool]) -> None:
        """Drive the connection until something is so."""
        until = time.monotonic() + self._timeout_s
        while not is_so():
            left_s = until - time.monotonic()
            if left_s <= 0:
                raise DeliveryError(f"{self._told}: no answer within {self._timeout_s:g} s")
            result = client.loop(left_s)
            if result != paho.MQTT_ERR_SUCCESS and not is_so():
                raise DeliveryError(f"{self._told}: {paho.error_string(result)}")


def client_maker(
    server: MqttServer, password: str | None, client_id: str
) -> Callable[[], paho.Client]:
    """Makes clients that are not connected yet, nor known to the broker beyond a connection.

    Raises:
        SettingsError: the certificates to trust cannot be read.
    """
    tls = server.tls_context()

    def make() -> paho.Client:
        client = paho.Client(CallbackAPIVersion.VERSION2, client_id, clean_session=True)
        client.suppress_exceptions = True
        if server.username is not None:
            client.username_pw_set(server.username, password)
        if tls is not None:
            client.tls_set_context(tls)
        return client

    return make


def _hang_up(client: paho.Client) -> None:
    connection = client.socket()
    if connection is not None:
        connection.close()
