"""SenML messages to readings."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.ingest.payload import Decoded, Rejection, decoder_for
from monitor.ingest.payload.senml import read_any, read_everyday
from monitor.ingest.payload.units import UNITS
from monitor.quantities import MEASURED, Quantity
from monitor.setup.sources import Source

NOW_MS = 1_796_000_000_000
DECODE = decoder_for(Source(topic="dewkeep/{enclosure}/{probe}"))


def decoded(*pack: dict[str, Any]) -> Decoded:
    """What a pack decodes to."""
    return DECODE(json.dumps(pack).encode(), NOW_MS)


def test_the_message_of_the_wire_contract() -> None:
    """The documented example gives a temperature and a humidity at the base time."""
    payload = (
        b'[{"bt":1796000000,"n":"temperature","u":"Cel","v":23.4},'
        b'{"n":"humidity","u":"%RH","v":81.2}]'
    )

    assert DECODE(payload, 5) == Decoded(
        [
            (Quantity.TEMPERATURE, 1796000000000, 23.4),
            (Quantity.HUMIDITY, 1796000000000, 81.2),
        ]
    )


@pytest.mark.parametrize("on", [True, False])
def test_a_mister_is_a_switch(on: bool) -> None:
    """A mister's boolean is no reading but a switch, with its time."""
    result = decoded({"n": "mister", "vb": on, "t": -3}, {"n": "humidity", "v": 80})

    assert list(result.switches) == [("mister", NOW_MS - 3000, on)]
    assert list(result.numbers) == [(Quantity.HUMIDITY, NOW_MS, 80.0)]
    assert not result.rejects


@pytest.mark.parametrize(
    "name",
    [
        "temperature",
        "urn:dev:ow:10e2073a01080063:temperature",
        "shelf/left.temperature",
        "a:b/temperature",
    ],
)
def test_the_last_part_of_a_name_is_the_quantity(name: str) -> None:
    """Whatever a device puts before it, split by : / or . , the last part counts."""
    assert list(decoded({"n": name, "v": 20}).numbers) == [(Quantity.TEMPERATURE, NOW_MS, 20.0)]
    head, tail = name[:-3], name[-3:]
    assert list(decoded({"bn": head, "n": tail, "v": 20}).numbers) == [
        (Quantity.TEMPERATURE, NOW_MS, 20.0)
    ]


@pytest.mark.parametrize(
    "name",
    ["temp", "Temperature", "air-temperature", "10e2_temperature", "temperature:", "dew_point"],
)
def test_other_names_are_counted_not_guessed(name: str) -> None:
    """A name that is not exactly a measured quantity is never taken for one."""
    result = decoded({"n": name, "v": 20}, {"n": "humidity", "v": 80})

    (reject,) = result.rejects
    assert reject.reason is Rejection.UNKNOWN_NAME
    assert f"{name!r} is not measured here; temperature, humidity, " in reject.says
    assert list(result.numbers) == [(Quantity.HUMIDITY, NOW_MS, 80.0)]


@pytest.mark.parametrize("name", ["ä:temperature", "-a:temperature", "a b/temperature", ""])
def test_a_name_that_senml_forbids_is_no_name(name: str) -> None:
    """Even if its last part would do, a record without a valid name stays out."""
    result = decoded({"n": name, "v": 20}, {"n": "humidity", "v": 80})

    assert [reject.reason for reject in result.rejects] == [Rejection.BAD_NAME]
    assert list(result.numbers) == [(Quantity.HUMIDITY, NOW_MS, 80.0)]


def test_text_that_is_no_reading_is_not_worth_a_count() -> None:
    """RFC 8428's mixed example: label and data are passed over, the open door is counted."""
    result = decoded(
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "temperature", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfc-reader", "vd": "aGkgCg=="},
    )

    assert list(result.numbers) == [(Quantity.TEMPERATURE, NOW_MS, 23.1)]
    assert [reject.reason for reject in result.rejects] == [Rejection.UNKNOWN_NAME]


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "expected"),
    [
        ("temperature", "Cel", 23.4, 23.4),
        ("temperature", "K", 296.55, 23.4),
        ("temperature", "K", 0, -273.15),
        ("surface_temperature", "K", 313.15, 40.0),
        ("humidity", "%RH", 81.23456, 81.23456),
        ("humidity", "%", 81.2, 81.2),
        ("humidity", "/100", 81.2, 81.2),
        ("humidity", "/", 0.812, 81.2),
        ("substrate_moisture", "%", 35, 35.0),
        ("substrate_moisture", "/100", 35, 35.0),
        ("substrate_moisture", "/", 0.35, 35.0),
        ("illuminance", "lx", 1200, 1200.0),
        ("battery", "%EL", 87, 87.0),
        ("battery", "/", 0.87, 87.0),
    ],
)
def test_registered_units_are_converted(
    quantity: str, unit: str, value: float, expected: float
) -> None:
    """Units of the SenML registry come out in ours: 0 Cel is 273.15 K, a ratio of 1 is 100 %."""
    for record in ({"u": unit}, {"bu": unit}):
        assert list(decoded({"n": quantity, "v": value, **record}).numbers) == [
            (Quantity(quantity), NOW_MS, expected)
        ]


@pytest.mark.parametrize("quantity", MEASURED)
def test_our_own_unit_and_no_unit_are_always_right(quantity: Quantity) -> None:
    """A unit may be left out; then the value is in the quantity's own."""
    unit = MEASURED[quantity].unit

    assert unit in UNITS[quantity]
    assert list(decoded({"n": quantity, "v": 21.25}).numbers) == [(quantity, NOW_MS, 21.25)]
    assert decoded({"n": quantity, "v": 21.25}) == decoded({"n": quantity, "u": unit, "v": 21.25})


@pytest.mark.parametrize(
    ("quantity", "unit", "says"),
    [
        ("temperature", "F", "is in F, which is farad in SenML; convert Fahrenheit to Cel or K"),
        ("temperature", "C", "is in 'C'; Cel or K would be right"),
        ("temperature", "cel", "is in 'cel'; Cel or K would be right"),
        ("temperature", "%RH", "is in '%RH'; Cel or K would be right"),
        ("humidity", "Cel", "is in 'Cel'; %RH or % or /100 or / would be right"),
        ("substrate_moisture", "%RH", "is in '%RH'; % or /100 or / would be right"),
        ("illuminance", "lux", "is in 'lux'; lx would be right"),
        ("illuminance", "", "is in ''; lx would be right"),
        ("illuminance", "F", "is in 'F'; lx would be right"),
    ],
)
def test_a_wrong_unit_is_rejected_with_the_right_one(quantity: str, unit: str, says: str) -> None:
    """A value in another unit would be a wrong reading: it stays out, and the message says why."""
    result = decoded({"n": quantity, "u": unit, "v": 20}, {"n": "humidity", "v": 80})

    (reject,) = result.rejects
    assert reject.reason is Rejection.WRONG_UNIT
    assert says in reject.says
    assert list(result.numbers) == [(Quantity.HUMIDITY, NOW_MS, 80.0)]


@pytest.mark.parametrize(
    ("record", "says"),
    [
        ({"n": "temperature", "vb": True}, "'temperature' has vb True; a number in v"),
        ({"n": "temperature", "vs": "23.4"}, "'temperature' has vs '23.4'; a number in v"),
        ({"n": "temperature", "vd": "AAAA"}, "'temperature' has vd 'AAAA'; a number in v"),
        ({"n": "temperature", "s": 5}, "'temperature' has s 5.0; a number in v"),
        ({"n": "mister", "v": 1}, "'mister' has v 1.0; true or false in vb"),
        ({"n": "mister", "vs": "on"}, "'mister' has vs 'on'; true or false in vb"),
    ],
)
def test_a_value_of_the_wrong_kind_is_rejected(record: dict[str, Any], says: str) -> None:
    """A quantity is a number and a mister is a boolean; nothing is converted by guess."""
    (reject,) = decoded(record).rejects

    assert reject.reason is Rejection.NOT_A_NUMBER
    assert says in reject.says


@pytest.mark.parametrize(
    ("text", "shown"),
    [("1e400", "inf"), ("-1e400", "-inf"), ("NaN", "nan"), ("Infinity", "inf"), ("9" * 400, "inf")],
)
def test_a_number_that_is_none_is_named_and_its_siblings_go_in(text: str, shown: str) -> None:
    """Even what no JSON parser should let through is rejected by its name, not with the pack."""
    payload = f'[{{"n":"temperature","v":{text}}},{{"n":"humidity","v":80}}]'.encode()

    result = DECODE(payload, NOW_MS)

    (reject,) = result.rejects
    assert reject.reason is Rejection.NOT_FINITE
    assert f"'temperature': v is {shown}" in reject.says
    assert list(result.numbers) == [(Quantity.HUMIDITY, NOW_MS, 80.0)]


NUMBERS = st.one_of(
    st.integers(-(10**6), 10**6),
    st.floats(allow_nan=False, allow_infinity=False),
    st.just(0.1),
)
TIMES = st.one_of(
    st.sampled_from([0, -1, 2**28 - 0.5, 2**28, 1.796e9, 253402300799.9, 253402300800.0, -2e9]),
    st.floats(-1e4, 1e4),
    st.floats(1.7e9, 1.8e9),
    st.floats(allow_nan=False, allow_infinity=False),
)
NAMES = st.sampled_from(
    [*MEASURED, "", "x:temperature", "urn:dev:1.", "a/", "temp", "-", "mister", "dew_point", "ä:"]
)
UNIT_NAMES = st.sampled_from(["Cel", "K", "%RH", "%", "/", "lx", "F", ""])
RECORDS = st.fixed_dictionaries(
    {},
    optional={
        "bn": NAMES,
        "bt": TIMES,
        "bu": UNIT_NAMES,
        "n": NAMES,
        "u": UNIT_NAMES,
        "t": TIMES,
        "v": NUMBERS,
        "x": st.none(),
    },
)
EVERYDAY = st.fixed_dictionaries(
    {"n": st.sampled_from(list(MEASURED)), "v": NUMBERS},
    optional={"t": TIMES, "bt": TIMES, "bn": st.sampled_from(["", "urn:dev:1:"])},
)


@given(pack=st.one_of(st.lists(EVERYDAY, max_size=4), st.lists(RECORDS, max_size=4)))
def test_the_fast_path_agrees_with_the_careful_one(pack: list[dict[str, Any]]) -> None:
    """Whenever the fast path answers, the careful one gives exactly the same."""
    payload = json.dumps(pack).encode()

    fast = read_everyday(payload, NOW_MS)

    if fast is not None:
        careful = read_any(payload, NOW_MS)
        assert list(fast.numbers) == list(careful.numbers)
        assert not careful.switches
        assert not careful.rejects


def test_everyday_messages_take_the_fast_path() -> None:
    """The documented message, with a base name too, is read by the fast path alone."""
    pack = [
        {"bn": "urn:dev:1:", "bt": 1.796e9, "n": "temperature", "u": "Cel", "v": 23.4},
        {"n": "humidity", "u": "%RH", "v": 81.2, "t": -1},
    ]

    assert read_everyday(json.dumps(pack).encode(), NOW_MS) is not None
