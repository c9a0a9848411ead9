"""PUBLISH packets are cut from a stream exactly where they begin and end.

Second opinion: packets made by paho-mqtt itself, a client we did not write.
"""

import paho.mqtt.client as mqtt
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.enums import CallbackAPIVersion

from monitor.ingest.packets import Published, cut_publishes, whole_at_head

PINGRESP = b"\xd0\x00"

publishes = st.builds(
    Published,
    topic=st.text(st.characters(codec="utf-8", exclude_characters="\0+#"), min_size=1).map(
        str.encode
    ),
    payload=st.one_of(st.binary(max_size=300), st.binary(min_size=16_384, max_size=16_390)),
    mid=st.integers(1, 65_535),
    qos=st.just(1),
    retained=st.booleans(),
)


def made_by_paho(packet: Published) -> bytes:
    """The bytes that paho sends for a PUBLISH."""

    class Recorder:
        sent = b""

        def send(self, data: bytes) -> int:
            self.sent += bytes(data)
            return len(data)

    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client._sock = recorder = Recorder()  # type: ignore[assignment]
    client._send_publish(packet.mid, packet.topic, packet.payload, packet.qos, packet.retained)
    client._sock = None
    return recorder.sent


@given(st.lists(publishes, max_size=5), st.integers(0, 12))
def test_packets_come_out_as_paho_made_them(packets: list[Published], torn: int) -> None:
    """Whole packets come out as they went in; a torn one and what follows stays in the stream."""
    stream = b"".join(map(made_by_paho, packets))
    tail = made_by_paho(Published(b"a/b", b"torn off", 7, 1))[:torn]

    assert cut_publishes(stream + tail, most=100) == (packets, len(stream))


@given(st.lists(publishes, min_size=2, max_size=4))
def test_no_more_than_asked_for(packets: list[Published]) -> None:
    """Reading stops at the bound, so that what is unacknowledged stays bounded."""
    stream = b"".join(map(made_by_paho, packets))

    assert cut_publishes(stream, most=1) == (packets[:1], len(made_by_paho(packets[0])))


def test_other_packets_are_left_alone() -> None:
    """Anything that is not a PUBLISH ends the cut, even with more PUBLISH packets behind it."""
    publish = made_by_paho(Published(b"t", b"1", 1, 1))

    packets, size = cut_publishes(publish + PINGRESP + publish, most=100)

    assert len(packets) == 1
    assert size == len(publish)
    assert cut_publishes(PINGRESP + publish, most=100) == ([], 0)


def test_qos_0_has_no_message_id() -> None:
    """A QoS 0 packet (fixed header 0x30) carries its payload right behind the topic."""
    assert cut_publishes(b"\x30\x05\x00\x01thi", most=1) == ([Published(b"t", b"hi", 0, 0)], 7)


def test_qos_2_and_malformed_packets_are_left_to_paho() -> None:
    """QoS 2 (never asked for) and lengths that do not add up are not ours to judge."""
    assert cut_publishes(b"\x34\x05\x00\x01t\x00\x01", most=1) == ([], 0)
    assert cut_publishes(b"\x32\x03\x00\x09t", most=1) == ([], 0), "topic longer than the packet"
    assert cut_publishes(b"\x32\xff\xff\xff\xff\x01", most=1) == ([], 0), "length of five bytes"


@given(st.binary(max_size=40))
def test_any_bytes_are_survived(data: bytes) -> None:
    """Noise never raises, and never claims more bytes than there are."""
    _, size = cut_publishes(data, most=10)

    assert 0 <= size <= len(data)
    assert isinstance(whole_at_head(data), bool)


def test_whole_packet_at_head() -> None:
    """A packet is whole when its remaining length is all there."""
    assert whole_at_head(PINGRESP)
    assert whole_at_head(PINGRESP + b"\x32")
    assert not whole_at_head(b"\xd0")
    assert not whole_at_head(b"\x32\x05\x00")
    assert not whole_at_head(b"")
