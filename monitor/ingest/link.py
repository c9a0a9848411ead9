"""The line to the broker: one MQTT connection, driven entirely by the thread that uses it.

paho's own thread is not used. The thread that reads also processes, commits and acknowledges, so
nothing has to be handed over, nothing can die unseen behind ``is_connected()``, and how much is
unacknowledged is bounded by not reading further (docs/architecture.md tells what that gains).
"""

import contextlib
import logging
import select
import socket
import ssl
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.ingest.backoff import Backoff
from monitor.ingest.packets import cut_publishes, whole_at_head
from monitor.setup.settings import BrokerSettings

log = logging.getLogger(__name__)

KEEPALIVE_S = 30
CONNECT_TIMEOUT_S = 3.0
SHORT_LIVED_S = 5.0
"""A connection that ends sooner did not really work; the wait before the next try keeps growing."""
TAKEOVERS_TOLD = 5
"""So many short-lived connections in a row look like two clients sharing one id."""
ACK_TIMEOUT_S = 10.0
BULK_BYTES = 65_536
BATCH_BYTES = 4 * 2**20
"""A batch is full at so many bytes too: 2,000 of the longest messages would fill a small board."""
NO_TOPIC = "\N{REPLACEMENT CHARACTER}"
"""Stands for a topic that is not UTF-8; it matches no source, so it is counted and acknowledged."""


class Message(NamedTuple):
    """One message as it came, with what is needed to acknowledge it."""

    topic: str
    payload: bytes
    mid: int
    qos: int
    generation: int
    retained: bool = False
    """Kept by the broker for whoever asks, since a time unknown; it has not just been sent."""


@dataclass(slots=True)
class LinkState:
    """What health shows of the line."""

    connected: bool = False
    generation: int = 0
    """Counts connections; an acknowledgement is only valid in the one its message came by."""
    since: float = field(default_factory=time.time)
    says: str = "not connected yet"
    received: int = 0
    outdated_acknowledgements: int = 0


class Link:
    """A persistent QoS 1 subscription with acknowledgement by hand.

    All methods but :meth:`wake` belong to one thread.
    """

    def __init__(self, settings: BrokerSettings, filters: Sequence[str], state_topic: str) -> None:
        self.state = LinkState()
        self._settings = settings
        self._filters = tuple(filters)
        self._state_topic = state_topic
        self._arrived: list[Message] = []
        self._arrived_bytes = 0
        self._backoff = Backoff(first_s=0.5, most_s=30.0)
        self._next_try = 0.0
        self._answered = False
        self._connected_at = 0.0
        self._short_lived = 0
        self._misc_due = 0.0
        self._paho_reads = False
        # Sockets, not a pipe: a closed one refuses a late wake-up, a closed descriptor's number may
        # be somebody else's by then.
        self._wake_read, self._wake_write = socket.socketpair()
        self._wake_read.setblocking(False)
        self._wake_write.setblocking(False)
        self._client = self._new_client()

    # -- reading ---------------------------------------------------------------------------------

    def gather(self, wait_s: float, limit: int, linger_s: float) -> list[Message]:
        """Messages that have come, waiting at most ``wait_s`` for the first.

        Once one is there, more are collected until ``limit`` or ``BATCH_BYTES``, or until
        ``linger_s`` has passed: one commit then serves many messages. Keeps the connection up on
        the way.
        """
        now = time.monotonic()
        until = now + wait_s
        lingering = False
        while True:
            self._keep_up(now)
            self._read_all(limit)
            if self._full(limit):
                break
            now = time.monotonic()
            if self._arrived and not lingering:
                lingering = True
                until = now + linger_s
            if now >= until or self._wait(until - now):
                break
            now = time.monotonic()
        arrived, self._arrived, self._arrived_bytes = self._arrived, [], 0
        self.state.received += len(arrived)
        return arrived

    def rest(self, wait_s: float) -> None:
        """Read nothing for a while (unless woken), so that the broker keeps what we cannot."""
        if select.select([self._wake_read], [], [], wait_s)[0]:
            self._wake_read.recv(4096)

    def wake(self) -> None:
        """End a wait in :meth:`gather` or :meth:`rest` early; from any thread, at any time."""
        with contextlib.suppress(OSError):  # full of wake-ups already, or closed
            self._wake_write.send(b"!")

    def _full(self, limit: int) -> bool:
        return len(self._arrived) >= limit or self._arrived_bytes >= BATCH_BYTES

    def _read_all(self, limit: int) -> None:
        """Read until the socket has no whole packet left or the batch is full."""
        while not self._full(limit):
            sock = self._client.socket()
            before = len(self._arrived)
            if sock is None:
                return
            if type(sock) is socket.socket and not self._paho_reads:
                if not self._read_bulk(sock, limit - before):
                    return
            elif self._client.loop_read() != mqtt.MQTT_ERR_SUCCESS or len(self._arrived) == before:
                return
            else:
                self._paho_reads = False

    def _read_bulk(self, sock: socket.socket, most: int) -> bool:
        """Take the whole packets at the head of the socket; False if there is none (yet)."""
        try:
            data = sock.recv(BULK_BYTES, socket.MSG_PEEK)
        except BlockingIOError:
            return False
        except OSError:
            data = b""
        packets, size = cut_publishes(data, most)
        if not packets:
            # A packet that paho has begun is paho's to its end, so one that is not all here yet
            # leaves the reading to paho until it has handed over a message.
            self._paho_reads = bool(data) and not whole_at_head(data)
            return self._client.loop_read() == mqtt.MQTT_ERR_SUCCESS and bool(data)
        self._arrived_bytes += size
        while size:
            size -= len(sock.recv(size))
        generation = self.state.generation
        self._arrived += [
            Message(_text(topic), payload, mid, qos, generation, retained)
            for topic, payload, mid, qos, retained in packets
        ]
        return True

    def _wait(self, timeout_s: float) -> bool:
        """Wait until the broker sends, a packet can leave, or time is up; True after a wake-up."""
        sock = self._client.socket()
        if isinstance(sock, ssl.SSLSocket) and sock.pending():
            return False
        readers: list[Any] = [self._wake_read] if sock is None else [self._wake_read, sock]
        writers = [sock] if sock is not None and self._client.want_write() else []
        due = self._next_try if sock is None else self._misc_due
        timeout_s = max(0.0, min(timeout_s, due - time.monotonic()))
        readable, writable, _ = select.select(readers, writers, [], timeout_s)
        if writable:
            self._client.loop_write()
        if self._wake_read not in readable:
            return False
        self._wake_read.recv(4096)
        return True

    # -- acknowledging and publishing ------------------------------------------------------------

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """Tell the broker that these are kept. Those of an earlier connection are left alone.

        After a lost session the broker may use a message id again; acknowledging with an old one
        would drop a message that was never read. What is not acknowledged comes again, and the
        store knows it already.
        """
        generation = self.state.generation
        mids = [m.mid for m in messages if m.qos and m.generation == generation]
        self.state.outdated_acknowledgements += sum(1 for m in messages if m.qos) - len(mids)
        sock = self._client.socket()
        if not mids or sock is None:
            return
        if self._client.want_write():
            self._client.loop_write()
        if isinstance(sock, socket.socket) and not (
            isinstance(sock, ssl.SSLSocket) or self._client.want_write()
        ):
            # One send for all of them; paho would make a system call for each.
            _send_whole(sock, b"".join(b"\x40\x02" + mid.to_bytes(2, "big") for mid in mids))
        else:
            for mid in mids:
                self._client.ack(mid, 1)

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Send with QoS 1; paho keeps it while the broker is away."""
        self._client.publish(topic, payload, qos=1, retain=retain)

    # -- staying connected -----------------------------------------------------------------------

    def _keep_up(self, now: float) -> None:
        if self._client.socket() is None:
            if now >= self._next_try:
                self._connect()
        elif now >= self._misc_due:
            self._misc_due = now + 1.0
            self._client.loop_misc()

    def _connect(self) -> None:
        broker = self._settings
        self._answered = False
        try:
            self._client.connect(broker.host, broker.port, keepalive=KEEPALIVE_S)
        except (OSError, ValueError) as exc:
            self._down(f"cannot reach broker {broker.host}:{broker.port}: {exc}")
        # Counted from the end of the attempt: a host that drops packets takes seconds to fail.
        self._next_try = time.monotonic() + self._backoff.next_s()

    def _down(self, says: str) -> None:
        if self.state.connected or self.state.says != says:
            log.warning("%s", says)
            self.state.since = time.time()
        self.state.connected = False
        self.state.says = says

    def _on_connect(
        self,
        client: mqtt.Client,
        _userdata: object,
        flags: mqtt.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        broker = self._settings
        self._answered = True
        if reason.is_failure:
            self._down(
                f"broker {broker.host}:{broker.port} refuses us ({reason}); "
                "check broker.username and broker.password_file"
            )
            return
        self.state.generation += 1
        self.state.connected = True
        self.state.since = time.time()
        self.state.says = "connected"
        self._connected_at = time.monotonic()
        # What came by the connection before is kept: a broker that was killed may have forgotten
        # it. If it comes again, it is known already.
        self._paho_reads = False
        if self._filters:
            client.subscribe([(topic, 1) for topic in self._filters])
        client.publish(self._state_topic, b'{"state":"watching"}', qos=1, retain=True)
        log.info(
            "connected to broker %s:%s (%s)",
            broker.host,
            broker.port,
            "session kept" if flags.session_present else "new session",
        )

    def _on_disconnect(
        self,
        _client: mqtt.Client,
        _userdata: object,
        _flags: mqtt.DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if not self.state.connected:
            if not self._answered:
                self._down(
                    f"broker {self._settings.host}:{self._settings.port} hangs up before it lets "
                    f"us in ({reason}); does it ask for a certificate (broker.cert_file)?"
                )
            return
        if time.monotonic() - self._connected_at < SHORT_LIVED_S:
            self._short_lived += 1
        else:
            self._short_lived = 0
            self._backoff.reset()
        if self._short_lived >= TAKEOVERS_TOLD:
            self._down(
                f"the connection ends at once, time after time ({reason}); is another client "
                f"using the id {self._settings.client_id!r}? Every daemon needs its own "
                "broker.client_id"
            )
        else:
            self._down(f"broker {self._settings.host}:{self._settings.port} is gone ({reason})")

    def _on_message(
        self, _client: mqtt.Client, _userdata: object, message: mqtt.MQTTMessage
    ) -> None:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = NO_TOPIC
        self._arrived_bytes += len(message.payload)
        self._arrived.append(
            Message(
                topic,
                bytes(message.payload),
                message.mid,
                message.qos,
                self.state.generation,
                message.retain,
            )
        )

    def _new_client(self) -> mqtt.Client:
        broker = self._settings
        client = mqtt.Client(
            CallbackAPIVersion.VERSION2,
            client_id=broker.client_id,
            clean_session=False,
            protocol=mqtt.MQTTv311,
            manual_ack=True,
        )
        client.suppress_exceptions = True
        client.connect_timeout = CONNECT_TIMEOUT_S
        if broker.username is not None:
            client.username_pw_set(broker.username, broker.secret())
        if (tls := broker.tls_context()) is not None:
            client.tls_set_context(tls)
        client.will_set(self._state_topic, b'{"state":"gone"}', qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        return client

    def close(self, wait_s: float = 1.0) -> None:
        """Say goodbye: the retained state becomes ``stopped`` instead of the will's ``gone``."""
        client = self._client
        if client.socket() is not None and self.state.connected:
            told = client.publish(self._state_topic, b'{"state":"stopped"}', qos=1, retain=True)
            until = time.monotonic() + wait_s
            while not told.is_published() and time.monotonic() < until:
                self._wait(0.05)
                self._read_all(limit=1_000_000)
                self._arrived, self._arrived_bytes = [], 0
                if client.socket() is None:
                    break
            self.state.connected = False
            client.disconnect()
        self.state.says = "stopped"
        self._wake_read.close()
        self._wake_write.close()


def _text(topic: bytes) -> str:
    try:
        return topic.decode()
    except UnicodeDecodeError:
        return NO_TOPIC


def _send_whole(sock: socket.socket, data: bytes) -> None:
    """Send every byte: half an MQTT packet must never be left on the line."""
    give_up = time.monotonic() + ACK_TIMEOUT_S
    view = memoryview(data)
    try:
        while view:
            try:
                view = view[sock.send(view) :]
            except BlockingIOError:
                left = give_up - time.monotonic()
                if left <= 0:
                    raise TimeoutError("the broker takes no acknowledgements") from None
                select.select([], [sock], [], left)
    except OSError as exc:
        log.warning("acknowledging failed, reconnecting: %s", exc)
        # Not close(): paho still selects on the socket and finds its end by reading. One that the
        # broker has reset is not even connected any more.
        with contextlib.suppress(OSError):
            sock.shutdown(socket.SHUT_RDWR)
