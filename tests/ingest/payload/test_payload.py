"""What every decoder promises, whatever it is sent."""

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import PayloadError
from monitor.ingest.payload import FORMATS, MAX_BYTES, Decoded, Decoder, Rejection, decoder_for
from monitor.ingest.payload.decoded import shown
from monitor.quantities import MEASURED, Quantity
from monitor.setup.sources import PayloadKind, Source

NOW_MS = 1_796_000_000_000
TOPIC = "dewkeep/{enclosure}/{probe}"
SOURCES = {
    "senml": Source(topic=TOPIC),
    "json": Source(
        topic=TOPIC,
        payload=PayloadKind.JSON,
        temperature="/t",
        humidity="/0/v",
        illuminance="",
        surface_temperature="/a/-/b",
    ),
    "json with time": Source(topic=TOPIC, payload=PayloadKind.JSON, temperature="/t", time="/0/t"),
    "number": Source(topic=TOPIC, payload=PayloadKind.NUMBER, quantity=Quantity.HUMIDITY),
}
DECODERS = [pytest.param(decoder_for(source), id=name) for name, source in SOURCES.items()]

LABELS = st.one_of(
    st.sampled_from(["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vb", "t", "x_"]),
    st.text(),
)
SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(),
    st.sampled_from(["temperature", "humidity", "mister", "Cel", "%RH", "23.4", 2**28, 10]),
)
DOCUMENTS = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(LABELS, inner, max_size=6)
    ),
    max_leaves=12,
)


def holds_its_promise(decode: Decoder, payload: bytes) -> None:
    """A decoder gives sound values or a PayloadError with a known reason, nothing else."""
    refused: list[PayloadError] = []
    result = Decoded([])
    try:
        result = decode(payload, NOW_MS)
    except PayloadError as error:
        refused.append(error)
    assert all(Rejection(error.reason) and 0 < len(error.says) < 500 for error in refused)
    for quantity, at_ms, value in result.numbers:
        assert quantity in MEASURED
        assert isinstance(at_ms, int)
        assert math.isfinite(value)
    for name, at_ms, on in result.switches:
        assert name == "mister"
        assert isinstance(at_ms, int)
        assert isinstance(on, bool)
    for reason, says in result.rejects:
        assert isinstance(reason, Rejection)
        assert 0 < len(says) < 500


@pytest.mark.parametrize("decode", DECODERS)
@given(payload=st.binary())
def test_any_bytes_decode_or_are_refused(decode: Decoder, payload: bytes) -> None:
    """No bytes, however wrong, raise anything but PayloadError."""
    holds_its_promise(decode, payload)


@pytest.mark.parametrize("decode", DECODERS)
@given(document=DOCUMENTS)
def test_any_json_decodes_or_is_refused(decode: Decoder, document: Any) -> None:
    """No JSON document raises anything but PayloadError, NaN and infinities included."""
    holds_its_promise(decode, json.dumps(document).encode())


@pytest.mark.parametrize("decode", DECODERS)
@pytest.mark.parametrize(
    "payload",
    [
        b"[" * 100_000,
        b'{"t":' * 50_000,
        b'[{"t":' + b"[" * 100_000,
        b'[{"n":"temperature","v":1,"x":' + b"[" * 60_000 + b"]" * 60_000 + b"}]",
    ],
)
def test_a_depth_bomb_is_refused(decode: Decoder, payload: bytes) -> None:
    """Nesting that no device needs ends in a PayloadError, not in a RecursionError."""
    with pytest.raises(PayloadError) as caught:
        decode(payload, NOW_MS)

    assert caught.value.reason in {Rejection.TOO_DEEP, Rejection.NOT_A_NUMBER}


@pytest.mark.parametrize("label", ["n", "bn", "u", "bu", "v", "vs", "t", "bt", "bver", "x_"])
@pytest.mark.parametrize("long", ["x" * 10_000, "9" * 4_000, 10**4_000, "temperature:" * 1000])
def test_long_fields_do_not_make_long_errors(label: str, long: str | int) -> None:
    """Whatever a device sends, what is said of it stays short."""
    pack = [{label: long}, {"n": "temperature", "v": 1}]
    holds_its_promise(decoder_for(SOURCES["senml"]), json.dumps(pack).encode())


@pytest.mark.parametrize("decode", DECODERS)
def test_a_long_message_is_refused_unread(decode: Decoder) -> None:
    """The limit counts before anything is parsed, and the message says both sizes."""
    with pytest.raises(PayloadError, match=f"{MAX_BYTES + 1} bytes; at most {MAX_BYTES}") as caught:
        decode(b"[" * (MAX_BYTES + 1), NOW_MS)

    assert caught.value.reason == Rejection.TOO_LARGE


@pytest.mark.parametrize("source", SOURCES.values())
def test_the_limit_is_the_callers_choice(source: Source) -> None:
    """A message of exactly the limit is read; one byte more is not."""
    decode = decoder_for(source, max_bytes=10)

    with pytest.raises(PayloadError, match="11 bytes; at most 10 are read"):
        decode(b" " * 11, NOW_MS)
    with pytest.raises(PayloadError) as caught:
        decode(b" " * 10, NOW_MS)
    assert caught.value.reason != Rejection.TOO_LARGE


@pytest.mark.parametrize("kind", ["senml", "json"])
@pytest.mark.parametrize(
    ("payload", "reason", "says"),
    [
        (b"", Rejection.MALFORMED, "not JSON at character 0"),
        (b'[{"n":"temp', Rejection.MALFORMED, "not JSON at character"),
        (b"[] []", Rejection.MALFORMED, "not JSON at character 3"),
        (b"\xef\xbb\xbf[]", Rejection.MALFORMED, "not JSON"),
        (b'{"t":01}', Rejection.MALFORMED, "not JSON"),
        (b"\xff", Rejection.NOT_UTF8, "byte 0 is 0xff, not UTF-8"),
        (b'[{"n":"\xe4"}]', Rejection.NOT_UTF8, "byte 7 is 0xe4"),
        ('{"t":20}'.encode("utf-16"), Rejection.NOT_UTF8, "byte 0 is 0xff"),
    ],
)
def test_what_is_not_json_says_where(
    kind: str, payload: bytes, reason: Rejection, says: str
) -> None:
    """A broken message is refused with the place where it breaks."""
    with pytest.raises(PayloadError, match=says) as caught:
        decoder_for(SOURCES[kind])(payload, NOW_MS)

    assert caught.value.reason == reason


def test_every_kind_of_payload_has_its_decoder() -> None:
    """The table of formats covers every kind that the settings allow."""
    assert FORMATS.keys() == set(PayloadKind)


@pytest.mark.parametrize(
    "value", ["x" * 10_000, ["y" * 10_000] * 100, {"k" * 10_000: [[[[1]]]]}, 10**4000, "\ud800\n"]
)
def test_what_a_device_sent_is_shown_short_and_on_one_line(value: object) -> None:
    """However much a device sends, a message to the keeper stays readable."""
    assert len(shown(value)) < 500
    assert shown(value).isprintable()
