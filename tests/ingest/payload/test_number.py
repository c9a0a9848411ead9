"""A payload that is nothing but one number."""

import pytest

from monitor.errors import PayloadError
from monitor.ingest.payload import Decoded, Rejection, decoder_for
from monitor.quantities import Quantity
from monitor.setup.sources import PayloadKind, Source

FIXED = Source(
    topic="dewkeep/{enclosure}/{probe}/t",
    payload=PayloadKind.NUMBER,
    quantity=Quantity.TEMPERATURE,
)
IN_TOPIC = Source(topic="house/{enclosure}/{probe}/{quantity}", payload=PayloadKind.NUMBER)


@pytest.mark.parametrize(
    ("payload", "value"),
    [(b"23.4", 23.4), (b" 23.4\n", 23.4), (b"-5", -5.0), (b"1e2", 100.0), (b".5", 0.5)],
)
def test_a_bare_number_is_one_value_on_arrival(payload: bytes, value: float) -> None:
    """The number is the settings' quantity, at the time it arrived."""
    assert decoder_for(FIXED)(payload, 77) == Decoded([(Quantity.TEMPERATURE, 77, value)])


def test_the_topic_can_say_what_the_number_is() -> None:
    """The quantity a {quantity} level gave is handed over when the decoder is made."""
    decode = decoder_for(IN_TOPIC, Quantity.HUMIDITY)

    assert list(decode(b"81.2", 77).numbers) == [(Quantity.HUMIDITY, 77, 81.2)]
    with pytest.raises(ValueError, match=r"which quantity is the number on house/\{enclosure\}"):
        decoder_for(IN_TOPIC)


@pytest.mark.parametrize(
    ("payload", "reason", "says"),
    [
        (b"", Rejection.NOT_A_NUMBER, "temperature is ''; a decimal number like 23.4"),
        (b"on", Rejection.NOT_A_NUMBER, "temperature is 'on'"),
        (b"23,4", Rejection.NOT_A_NUMBER, "temperature is '23,4'"),
        (b"23.4 Cel", Rejection.NOT_A_NUMBER, "temperature is '23.4 Cel'"),
        (b"1_000", Rejection.NOT_A_NUMBER, "temperature is '1_000'"),
        (b"23.4\x00", Rejection.NOT_A_NUMBER, "temperature is '23.4"),
        (b"\xff\xfe2", Rejection.NOT_A_NUMBER, "temperature is '"),
        (b"[23.4]", Rejection.NOT_A_NUMBER, "temperature is '"),
        (b"nan", Rejection.NOT_FINITE, "temperature is nan"),
        (b"-inf", Rejection.NOT_FINITE, "temperature is -inf"),
        (b"1e400", Rejection.NOT_FINITE, "temperature is inf"),
    ],
)
def test_anything_else_is_refused(payload: bytes, reason: Rejection, says: str) -> None:
    """What is no plain finite decimal raises, naming quantity and text."""
    with pytest.raises(PayloadError, match=says) as caught:
        decoder_for(FIXED)(payload, 77)

    assert caught.value.reason == reason
