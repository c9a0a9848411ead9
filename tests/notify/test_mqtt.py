"""MQTT, against a real broker."""

import gc
import json
import socket
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
import trustme

from monitor.errors import DeliveryError
from monitor.notify.mqtt import MqttChannel
from monitor.setup.address import MqttServer
from tests.notify.notices import DRY, notice
from tests.support.listener import Listener
from tests.support.servers import Mosquitto, free_port, program
from tests.support.waiting import eventually

TOPIC = "house/alarms"


def bus(
    port: int, *, timeout_s: float = 10.0, password: str | None = None, **more: object
) -> MqttChannel:
    """A channel to a broker of this machine."""
    server = MqttServer.model_validate({"host": "localhost", "port": port} | more)
    return MqttChannel(server, password, client_id="dewkeep-bus", topic=TOPIC, timeout_s=timeout_s)


def failure(channel: MqttChannel) -> DeliveryError:
    """How a delivery fails."""
    with pytest.raises(DeliveryError) as caught:
        channel.deliver(notice())
    return caught.value


def test_a_notice_is_published_as_it_stands(mosquitto: Mosquitto) -> None:
    """With QoS 1 and not retained; another one is a second message."""
    with Listener(mosquitto.port, TOPIC) as listener:
        channel = bus(mosquitto.port)
        channel.deliver(notice())
        channel.deliver(notice("other/raised", idempotency_key="other/raised"))
        eventually(lambda: len(listener.received) == 2, "both messages")

    first, second = listener.received
    assert (first.topic, first.qos, first.retain) == (TOPIC, 1, False)
    assert json.loads(first.payload) == DRY
    assert json.loads(second.payload)["idempotency_key"] == "other/raised"


def test_nothing_is_left_behind(mosquitto: Mosquitto) -> None:
    """A delivery opens a connection and closes it: no socket and no thread stays."""
    threads = threading.active_count()
    for _ in range(5):
        bus(mosquitto.port).deliver(notice())

    here = psutil.Process().net_connections(kind="tcp")
    to_broker = [each for each in here if each.raddr and each.raddr.port == mosquitto.port]
    assert [each for each in to_broker if each.status == psutil.CONN_ESTABLISHED] == []
    assert threading.active_count() == threads


def test_a_broker_that_is_away_is_tried_again() -> None:
    """A refused connection may be a broker that restarts."""
    error = failure(bus(free_port()))

    assert error.retry
    assert "refused" in str(error)


@pytest.fixture
def mute() -> Iterator[socket.socket]:
    """Accepts connections and says nothing."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        yield listening


def test_a_broker_that_does_not_answer_is_left(mute: socket.socket) -> None:
    """A mute broker costs its time limit, not for ever."""
    error = failure(bus(mute.getsockname()[1], timeout_s=0.1))

    assert error.retry
    assert "no answer within 0.1 s" in str(error)


def test_a_broker_that_hangs_up_is_tried_again(mute: socket.socket) -> None:
    """Before any answer: told as what it is, at once."""

    def hang_up() -> None:
        connection, _ = mute.accept()
        connection.recv(1)
        connection.close()

    thread = threading.Thread(target=hang_up)
    thread.start()
    error = failure(bus(mute.getsockname()[1]))
    thread.join()

    assert error.retry


def test_a_message_that_is_not_acknowledged_did_not_arrive(mute: socket.socket) -> None:
    """A broker that takes the connection but not the message: it is tried again."""

    def accept_only() -> None:
        connection, _ = mute.accept()
        with connection:
            connection.recv(1024)
            connection.sendall(b"\x20\x02\x00\x00")  # CONNACK, accepted (MQTT 3.1.1, 3.2)
            while connection.recv(1024):
                pass

    thread = threading.Thread(target=accept_only)
    thread.start()
    error = failure(bus(mute.getsockname()[1], timeout_s=0.2))
    thread.join()

    assert error.retry
    assert "no answer within" in str(error)


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that wants to know who comes: one name, with a password."""
    passwords = tmp_path / "passwords"
    passwords.touch(0o600)
    subprocess.run([program("mosquitto_passwd"), "-b", passwords, "bus", "h0rse"], check=True)
    broker = Mosquitto(tmp_path, [f"password_file {passwords}"]).start()
    yield broker
    broker.stop()


def test_signing_in(guarded: Mosquitto) -> None:
    """With the right password; a wrong one is told and tried again."""
    bus(guarded.port, username="bus", password="h0rse").deliver(notice())
    error = failure(bus(guarded.port, username="bus", password="wr0ng"))

    assert error.retry
    assert "refuses us: Not authorized" in str(error)
    assert "wr0ng" not in str(error)


@pytest.fixture
def authority() -> trustme.CA:
    """A certificate authority."""
    return trustme.CA()


# paho leaves the socket of a failed handshake to the garbage collector, so it is called here.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(("name", "refused"), [("localhost", False), ("other.example", True)])
def test_tls(tmp_path: Path, authority: trustme.CA, name: str, refused: bool) -> None:
    """The broker must prove its name, else it gets nothing."""
    certificate = authority.issue_cert(name)
    key, chain, ca = (tmp_path / each for each in ("key.pem", "chain.pem", "ca.pem"))
    certificate.private_key_pem.write_to_path(str(key))
    for blob in certificate.cert_chain_pems:
        blob.write_to_path(str(chain), append=True)
    authority.cert_pem.write_to_path(str(ca))
    broker = Mosquitto(tmp_path, [f"keyfile {key}", f"certfile {chain}"]).start()
    try:
        channel = bus(broker.port, tls=True, ca_file=ca)
        if refused:
            says = str(failure(channel))
            gc.collect()
            assert "CERTIFICATE_VERIFY_FAILED" in says
        else:
            channel.deliver(notice())
    finally:
        broker.stop()
