"""JSON of any shape, read by JSON Pointers."""

import json
from typing import Any

import pytest
from jsonpointer import EndOfList, JsonPointer

from monitor.errors import PayloadError
from monitor.ingest.payload import Decoded, Rejection, decoder_for
from monitor.quantities import Quantity
from monitor.setup.sources import PayloadKind, Source

NOW_MS = 1_796_000_000_000
TOPIC = "rack/{enclosure}/{probe}"

# RFC 6901 section 5: document and pointers, from memory
RFC_DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}
RFC_NUMBERS = {
    "/": 0,
    "/a~1b": 1,
    "/c%d": 2,
    "/e^f": 3,
    "/g|h": 4,
    "/i\\j": 5,
    '/k"l': 6,
    "/ ": 7,
    "/m~0n": 8,
}


def decoded(document: object, **keys: Any) -> Decoded:
    """What a document, or the text of one, decodes to with the given pointers."""
    source = Source.model_validate({"topic": TOPIC, "payload": "json", **keys})
    text = document if isinstance(document, str) else json.dumps(document)
    return decoder_for(source)(text.encode(), NOW_MS)


@pytest.mark.parametrize(("pointer", "value"), RFC_NUMBERS.items())
def test_rfc_6901_examples(pointer: str, value: int) -> None:
    """Each of the RFC's pointers to a number finds that number."""
    result = decoded(RFC_DOCUMENT, temperature=pointer)

    assert list(result.numbers) == [(Quantity.TEMPERATURE, NOW_MS, float(value))]


def test_rfc_6901_examples_that_are_no_numbers() -> None:
    """The RFC's pointers to the document, a list and a text find no number, and say so."""
    result = decoded(RFC_DOCUMENT, temperature="", humidity="/foo", illuminance="/foo/0")

    assert not result.numbers
    assert [reject.reason for reject in result.rejects] == [Rejection.NOT_A_NUMBER] * 3
    assert "/foo/0 is 'bar'; a decimal number like 23.4" in result.rejects[2].says


def test_rfc_6901_edges() -> None:
    """~01 is ~1, never /; an index has no leading zero; /- is the place after the last."""
    assert JsonPointer("/foo/-").resolve(RFC_DOCUMENT).__class__ is EndOfList

    result = decoded(
        {"~1": 1, "/": 2, "list": [3, 4]},
        temperature="/~01",
        humidity="/list/1",
        illuminance="/list/01",
        surface_temperature="/list/-",
    )

    assert list(result.numbers) == [
        (Quantity.TEMPERATURE, NOW_MS, 1.0),
        (Quantity.HUMIDITY, NOW_MS, 4.0),
    ]
    assert {(reject.reason, reject.says) for reject in result.rejects} == {
        (Rejection.MISSING, "surface_temperature: nothing stands at /list/-"),
        (Rejection.MISSING, "illuminance: nothing stands at /list/01"),
    }


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("23.4", 23.4),
        ("-5", -5.0),
        ('"23.4"', 23.4),
        ('" 23.4 "', 23.4),
        ('"+23.4"', 23.4),
        ('"2.34e1"', 23.4),
        ('"1e-3"', 0.001),
    ],
)
def test_numbers_may_come_as_text(text: str, value: float) -> None:
    """JSON numbers and plain decimals in quotes are read alike."""
    result = decoded(f'{{"t":{text}}}', temperature="/t")

    assert list(result.numbers) == [(Quantity.TEMPERATURE, NOW_MS, value)]
    assert not result.rejects


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("true", Rejection.NOT_A_NUMBER),
        ("null", Rejection.NOT_A_NUMBER),
        ("[23.4]", Rejection.NOT_A_NUMBER),
        ('{"v":23.4}', Rejection.NOT_A_NUMBER),
        ('""', Rejection.NOT_A_NUMBER),
        ('"23,4"', Rejection.NOT_A_NUMBER),
        ('"23.4 C"', Rejection.NOT_A_NUMBER),
        ('"1_000"', Rejection.NOT_A_NUMBER),
        ('"0x1F"', Rejection.NOT_A_NUMBER),
        ('"٢٣"', Rejection.NOT_A_NUMBER),
        ('"nan"', Rejection.NOT_FINITE),
        ('"inf"', Rejection.NOT_FINITE),
        ('"1e400"', Rejection.NOT_FINITE),
        ("NaN", Rejection.NOT_FINITE),
        ("-Infinity", Rejection.NOT_FINITE),
        ("1e400", Rejection.NOT_FINITE),
        ("9" * 400, Rejection.NOT_FINITE),
        ("9" * 5000, Rejection.NOT_FINITE),
    ],
)
def test_what_is_no_number_is_rejected_by_its_pointer(text: str, reason: Rejection) -> None:
    """A value that is no finite number stays out, named by its pointer; its sibling goes in."""
    result = decoded(f'{{"air":{{"t":{text}}},"h":81.2}}', temperature="/air/t", humidity="/h")

    (reject,) = result.rejects
    assert reject.reason is reason
    assert reject.says.startswith("temperature: /air/t is ")
    assert len(reject.says) < 200
    assert list(result.numbers) == [(Quantity.HUMIDITY, NOW_MS, 81.2)]


@pytest.mark.parametrize("document", [{}, {"t": 1}, [], "text", 5, None, {"air": 5}])
def test_a_missing_field_is_counted_for_its_quantity(document: object) -> None:
    """A pointer that leads nowhere, whatever the document is, is a counted reject."""
    result = decoded(json.dumps(document), temperature="/air/t")

    assert [(reject.reason, reject.says) for reject in result.rejects] == [
        (Rejection.MISSING, "temperature: nothing stands at /air/t")
    ]


@pytest.mark.parametrize(
    ("unit", "time"),
    [
        ("s", "1796000000.25"),
        ("s", '"1796000000.25"'),
        ("ms", "1796000000250"),
        ("us", "1796000000250000"),
        ("ns", "1796000000250000000"),
        ("rfc3339", '"2026-11-30T00:53:20.250Z"'),
        ("rfc3339", '"2026-11-30T01:53:20.25+01:00"'),
    ],
)
def test_the_device_says_when(unit: str, time: str) -> None:
    """A time pointer is read in its unit, to the millisecond."""
    result = decoded(f'{{"t":20,"ts":{time}}}', temperature="/t", time="/ts", time_unit=unit)

    assert list(result.numbers) == [(Quantity.TEMPERATURE, 1_796_000_000_250, 20.0)]


@pytest.mark.parametrize(
    ("unit", "time", "says"),
    [
        ("s", None, "time: nothing stands at /ts"),
        ("s", "null", "time: /ts is None"),
        ("s", "true", "time: /ts is True"),
        ("s", '"noon"', "time: /ts is 'noon'"),
        ("s", "1e400", "time: /ts is inf"),
        ("s", "1e308", r"/ts is 1e\+308, read as s; that lies before July 1978"),
        ("s", "12.5", "/ts is 12.5, read as s"),
        ("s", "1796000000000", "/ts is 1796000000000, read as s"),
        ("ms", "1796000000", "/ts is 1796000000, read as ms"),
        ("rfc3339", "1796000000", "/ts is 1796000000; 2026-01-01T20:00:00Z would be right"),
        ("rfc3339", '"2026-11-30T00:53:20"', "2026-01-01T20:00:00Z would be right"),
        ("rfc3339", '"1970-01-01T00:00:20Z"', "that lies before July 1978"),
        ("rfc3339", '"0001-01-01T00:00:00+23:59"', "that lies before July 1978"),
    ],
)
def test_a_message_without_a_usable_time_is_refused(unit: str, time: str | None, says: str) -> None:
    """If the time is asked for and cannot be read, no value of the message can be placed."""
    text = '{"t":20}' if time is None else f'{{"t":20,"ts":{time}}}'

    with pytest.raises(PayloadError, match=says) as caught:
        decoded(text, temperature="/t", time="/ts", time_unit=unit)

    assert caught.value.reason == Rejection.BAD_TIME


def test_pointers_reach_into_lists_and_objects() -> None:
    """One source can gather its quantities from anywhere in the document."""
    source = Source(
        topic=TOPIC,
        payload=PayloadKind.JSON,
        temperature="/sensors/0/value",
        humidity="/sensors/1/value",
    )

    result = decoder_for(source)(b'{"sensors":[{"value":20},{"value":"60"}]}', NOW_MS)

    assert list(result.numbers) == [
        (Quantity.TEMPERATURE, NOW_MS, 20.0),
        (Quantity.HUMIDITY, NOW_MS, 60.0),
    ]
