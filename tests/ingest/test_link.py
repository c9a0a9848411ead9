"""The line to a real mosquitto: what is not acknowledged is not lost."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from monitor.ingest.link import BATCH_BYTES, Link, Message
from monitor.setup.settings import BrokerSettings
from tests.support.servers import Mosquitto, free_port
from tests.support.waiting import eventually

TOPIC = "dewkeep/cork-cube/canopy"


@contextmanager
def linked(port: int, **settings: object) -> Iterator[Link]:
    """A link that is closed in the end."""
    broker = BrokerSettings.model_validate({"port": port, "client_id": "test"} | settings)
    link = Link(broker, ["dewkeep/+/+"], "dewkeep-state/test")
    try:
        yield link
    finally:
        link.close()


def connect(link: Link) -> None:
    """Run the link until it is connected; only where nothing waits at the broker."""
    eventually(lambda: link.gather(0.05, 10, 0.0) or link.state.connected, "connected")


def publish(port: int, payloads: list[bytes], topic: str = TOPIC, *, retain: bool = False) -> None:
    """Publish with QoS 1 and wait until the broker has it all."""
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for payload in payloads:
        sent = client.publish(topic, payload, qos=1, retain=retain)
    sent.wait_for_publish(10)
    client.disconnect()
    client.loop_stop()


def receive(link: Link, count: int) -> list[Message]:
    """Gather until ``count`` messages have come."""
    got: list[Message] = []

    def enough() -> bool:
        got.extend(link.gather(0.05, 100, 0.01))
        return len(got) >= count

    eventually(enough, f"{count} messages")
    return got


def test_messages_arrive_whole_and_in_order(mosquitto: Mosquitto) -> None:
    """Small and large payloads come as they were sent, across the edges of the read buffer."""
    payloads = [b"%d" % n + b"." * (n * 997 % 70_000) for n in range(60)]
    with linked(mosquitto.port) as link:
        connect(link)
        publish(mosquitto.port, payloads)

        got = receive(link, 60)

    assert [m.payload for m in got] == payloads
    assert {m.topic for m in got} == {TOPIC}


def test_what_the_broker_kept_is_told_from_what_was_just_sent(mosquitto: Mosquitto) -> None:
    """The last message of a topic, kept by the broker, may be weeks old; a live one never is."""
    publish(mosquitto.port, [b"kept"], retain=True)
    with linked(mosquitto.port) as link:
        (kept,) = receive(link, 1)
        publish(mosquitto.port, [b"live"], retain=True)
        (live,) = receive(link, 1)

    assert (kept.payload, kept.retained) == (b"kept", True)
    assert (live.payload, live.retained) == (b"live", False)


def test_unacknowledged_messages_come_again(mosquitto: Mosquitto) -> None:
    """A daemon that dies before it has committed gets the same messages once more."""
    with linked(mosquitto.port) as link:
        connect(link)
        publish(mosquitto.port, [b"1", b"2", b"3"])
        link.acknowledge(receive(link, 3)[:1])
    with linked(mosquitto.port) as link:
        again = receive(link, 2)
        link.acknowledge(again)

    assert [m.payload for m in again] == [b"2", b"3"]
    with linked(mosquitto.port) as link:
        connect(link)
        assert link.gather(0.3, 10, 0.0) == []


def test_an_acknowledgement_of_an_earlier_connection_is_not_sent(mosquitto: Mosquitto) -> None:
    """After a reconnect old message ids mean nothing: those messages come again."""
    with linked(mosquitto.port) as link:
        connect(link)
        publish(mosquitto.port, [b"1"])
        before = receive(link, 1)
        mosquitto.stop()
        eventually(lambda: link.gather(0.05, 10, 0.0) or not link.state.connected, "noticed")
        mosquitto.start()

        again = receive(link, 1)
        link.acknowledge(before)

        assert link.state.outdated_acknowledgements == 1
        assert [m.payload for m in again] == [b"1"]


def test_a_wake_up_ends_the_wait(mosquitto: Mosquitto) -> None:
    """A request from another thread does not wait for the next message."""
    with linked(mosquitto.port) as link:
        connect(link)
        link.gather(1.0, 10, 0.0)
        link.wake()

        started = time.monotonic()
        link.gather(30.0, 10, 0.0)

        assert time.monotonic() - started < 15.0


def test_a_lost_broker_is_told_and_found_again(mosquitto: Mosquitto) -> None:
    """While the broker is away the link says so, and connects again by itself."""
    with linked(mosquitto.port) as link:
        connect(link)
        mosquitto.kill()
        eventually(lambda: link.gather(0.05, 10, 0.0) or not link.state.connected, "noticed")
        assert str(mosquitto.port) in link.state.says
        mosquitto.start()

        connect(link)

        assert link.state.generation == 2


def test_no_broker_is_normal_weather() -> None:
    """A broker that is not there yet is said in words, and raises nothing."""
    with linked(free_port()) as link:
        assert link.gather(0.1, 10, 0.0) == []
        assert "cannot reach broker 127.0.0.1" in link.state.says


def test_a_wrong_password_is_told(tmp_path: Path) -> None:
    """A refusal names what to check."""
    users = tmp_path / "users"
    broker = Mosquitto(tmp_path, [f"password_file {users}"])
    users.write_text("")
    users.chmod(0o600)
    broker.start()
    try:
        with linked(broker.port, username="keeper", password="wrong") as link:
            eventually(
                lambda: link.gather(0.05, 10, 0.0) or "refuses us" in link.state.says, "refused"
            )
            assert "broker.password_file" in link.state.says
            assert not link.state.connected
    finally:
        broker.stop()


def test_the_last_will_says_who_is_gone(mosquitto: Mosquitto) -> None:
    """The retained state reads watching, then stopped after a clean end."""
    states: list[bytes] = []
    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _c, _u, message: states.append(bytes(message.payload))
    client.connect("127.0.0.1", mosquitto.port)
    client.subscribe("dewkeep-state/test", 1)
    client.loop_start()
    with linked(mosquitto.port) as link:
        connect(link)
        eventually(lambda: link.gather(0.05, 10, 0.0) or states, "watching")
    eventually(lambda: len(states) > 1, "stopped")
    client.disconnect()
    client.loop_stop()

    assert states == [b'{"state":"watching"}', b'{"state":"stopped"}']


@pytest.mark.parametrize("limit", [1, 7])
def test_no_more_than_the_limit_is_taken(mosquitto: Mosquitto, limit: int) -> None:
    """What is held without acknowledgement is bounded, the rest waits."""
    with linked(mosquitto.port) as link:
        connect(link)
        publish(mosquitto.port, [b"%d" % n for n in range(30)])

        batches = [link.gather(1.0, limit, 0.2) for _ in range(3)]

    assert [len(batch) for batch in batches] == [limit] * 3
    assert [m.payload for batch in batches for m in batch] == [b"%d" % n for n in range(3 * limit)][
        : 3 * limit
    ]


def test_a_batch_of_long_messages_is_cut_by_its_bytes(mosquitto: Mosquitto) -> None:
    """Two thousand of them would be more than a small board has memory for; none is lost."""
    payloads = [b"%d" % n + b"." * 50_000 for n in range(2 * BATCH_BYTES // 50_000)]
    with linked(mosquitto.port) as link:
        connect(link)
        publish(mosquitto.port, payloads)

        batches = [link.gather(5.0, 2_000, 5.0)]
        batches.append(link.gather(5.0, 2_000, 5.0))

    assert len(batches[0]) < len(payloads)
    assert sum(len(m.payload) for m in batches[0]) <= BATCH_BYTES + 50_010
    assert [m.payload for batch in batches for m in batch] == payloads


def test_a_rest_ends_early_once_for_each_time_it_is_woken() -> None:
    """While nothing can be stored, a request from outside is looked at once, not in a busy loop."""
    with linked(free_port()) as link:
        link.wake()
        link.wake()
        link.rest(60.0)
        began = time.monotonic()
        link.rest(0.2)

        assert time.monotonic() - began >= 0.2


def test_a_closed_link_may_be_woken() -> None:
    """Someone may ask in the very moment the daemon stops."""
    with linked(free_port()) as link:
        pass
    link.wake()


def test_a_broker_that_dies_before_it_is_told(mosquitto: Mosquitto) -> None:
    """Acknowledging to nobody is no mistake: the link goes on, finds out, and comes back."""
    with linked(mosquitto.port) as link:
        connect(link)
        publish(mosquitto.port, [b"1", b"2", b"3"])
        messages = receive(link, 3)
        mosquitto.kill()
        for message in messages:  # the first may leave, and is answered by a reset
            link.acknowledge([message])
        eventually(lambda: link.gather(0.05, 10, 0.0) or not link.state.connected, "it is noticed")
        mosquitto.start()
        eventually(lambda: link.gather(0.05, 10, 0.0) or link.state.connected, "it comes back")
        publish(mosquitto.port, [b"4"])

        eventually(lambda: receive(link, 1)[-1].payload == b"4", "what is sent from then on")
