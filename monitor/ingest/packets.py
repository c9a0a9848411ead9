"""PUBLISH packets at the head of a byte stream (MQTT 3.1.1, section 3.3), cut out many at a time.

paho reads each packet with three system calls and some twenty Python calls. A backlog after a
night offline is nothing but PUBLISH packets, so these are taken from the socket in bulk and
everything else is left to paho.
"""

from typing import NamedTuple

_PUBLISH = 3


class Published(NamedTuple):
    """One PUBLISH packet of QoS 0 or 1; ``mid`` is 0 for QoS 0."""

    topic: bytes
    payload: bytes
    mid: int
    qos: int
    retained: bool = False


def cut_publishes(data: bytes, most: int) -> tuple[list[Published], int]:
    """Cut up to ``most`` whole PUBLISH packets from the head of ``data``.

    Stops, without an error, at whatever is not a well-formed whole PUBLISH of QoS 0 or 1: paho
    reads on from there and judges it. Returns the packets and the bytes they took up.
    """
    packets: list[Published] = []
    at = 0
    while len(packets) < most:
        body, stop = _extent(data, at)
        if stop == 0 or stop > len(data) or data[at] >> 4 != _PUBLISH:
            break
        qos = data[at] >> 1 & 3
        if stop - body < 2 or qos > 1:
            break
        topic_end = body + 2 + (data[body] << 8 | data[body + 1])
        payload_at = topic_end + 2 * qos
        if payload_at > stop:
            break
        mid = data[topic_end] << 8 | data[topic_end + 1] if qos else 0
        topic, payload = data[body + 2 : topic_end], data[payload_at:stop]
        packets.append(Published(topic, payload, mid, qos, bool(data[at] & 1)))
        at = stop
    return packets, at


def whole_at_head(data: bytes) -> bool:
    """Whether ``data`` begins with a whole packet of any type."""
    _, stop = _extent(data, 0)
    return 0 < stop <= len(data)


def _extent(data: bytes, at: int) -> tuple[int, int]:
    """Where the body of the packet at ``at`` begins and ends; (0, 0) if that cannot be told yet.

    The remaining length has one to four bytes of seven bits, the lowest first (section 2.2.3).
    """
    length = shift = 0
    for body in range(at + 1, min(at + 5, len(data))):
        length |= (data[body] & 0x7F) << shift
        if data[body] < 0x80:
            return body + 1, body + 1 + length
        shift += 7
    return 0, 0
