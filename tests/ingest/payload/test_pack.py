"""SenML packs against the examples and rules of RFC 8428 and RFC 9100.

Vectors: the examples of RFC 8428 section 5.1, read in a public copy of them. Section numbers and
the rules quoted beside the tests are from memory.
"""

import base64
from typing import Any

import pytest

from monitor.errors import PayloadError
from monitor.ingest.payload.decoded import Reject, Rejection
from monitor.ingest.payload.pack import Record, resolve

NOW_MS = 1_796_000_000_000
DEVICE = "urn:dev:ow:10e2073a01080063"


def records(*pack: dict[str, Any]) -> list[Record]:
    """The resolved records of a pack that has no bad ones."""
    resolved = resolve(list(pack), NOW_MS)
    assert all(isinstance(one, Record) for one in resolved), resolved
    return [one for one in resolved if isinstance(one, Record)]


def test_single_datapoint() -> None:
    """RFC 8428, 5.1.1: one record; without a time it was measured now."""
    assert records({"n": DEVICE, "u": "Cel", "v": 23.1}) == [
        Record(DEVICE, NOW_MS, "Cel", "v", 23.1, None)
    ]


def test_multiple_datapoints() -> None:
    """RFC 8428, 5.1.2: the base name is put before each name."""
    assert records(
        {"bn": f"{DEVICE}:", "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ) == [
        Record(f"{DEVICE}:voltage", NOW_MS, "V", "v", 120.1, None),
        Record(f"{DEVICE}:current", NOW_MS, "A", "v", 1.2, None),
    ]


def test_base_time_and_base_unit_persist() -> None:
    """RFC 8428, 5.1.2, second example: seconds before the base time, and the base unit."""
    name = "urn:dev:ow:10e2073a0108006:"
    pack: list[dict[str, Any]] = [
        {
            "bn": name,
            "bt": 1.276020076001e09,
            "bu": "A",
            "bver": 5,
            "n": "voltage",
            "u": "V",
            "v": 120.1,
        },
        {"n": "current", "t": -5, "v": 1.2},
        {"n": "current", "t": -4, "v": 1.3},
        {"n": "current", "t": -3, "v": 1.4},
        {"n": "current", "t": -2, "v": 1.5},
        {"n": "current", "t": -1, "v": 1.6},
        {"n": "current", "v": 1.7},
    ]
    current = f"{name}current"

    assert records(*pack) == [
        Record(f"{name}voltage", 1276020076001, "V", "v", 120.1, None),
        Record(current, 1276020071001, "A", "v", 1.2, None),
        Record(current, 1276020072001, "A", "v", 1.3, None),
        Record(current, 1276020073001, "A", "v", 1.4, None),
        Record(current, 1276020074001, "A", "v", 1.5, None),
        Record(current, 1276020075001, "A", "v", 1.6, None),
        Record(current, 1276020076001, "A", "v", 1.7, None),
    ]


def test_multiple_measurements() -> None:
    """RFC 8428, 5.1.3 and its resolved form 5.1.4: the name may be the base name alone."""
    pack: list[dict[str, Any]] = [
        {"bn": DEVICE, "bt": 1.320067464e09, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621},
        {"u": "lat", "v": 60.07965},
        {"t": 60, "v": 20.3},
        {"u": "lon", "t": 60, "v": 24.30622},
        {"u": "lat", "t": 60, "v": 60.07965},
        {"t": 120, "v": 20.7},
        {"u": "lon", "t": 120, "v": 24.30623},
        {"u": "lat", "t": 120, "v": 60.07966},
        {"u": "%EL", "t": 150, "v": 98},
        {"t": 180, "v": 21.2},
        {"u": "lon", "t": 180, "v": 24.30628},
        {"u": "lat", "t": 180, "v": 60.07967},
    ]

    resolved = records(*pack)

    assert {one.name for one in resolved} == {DEVICE}
    assert [(one.at_ms, one.value) for one in resolved if one.unit == "%RH"] == [
        (1320067464000, 20),
        (1320067524000, 20.3),
        (1320067584000, 20.7),
        (1320067644000, 21.2),
    ]
    assert [(one.at_ms, one.value) for one in resolved if one.unit == "%EL"] == [
        (1320067614000, 98)
    ]
    # a resolved pack has no base fields left, and resolving it again changes nothing
    again = [
        {"n": one.name, "u": one.unit, "t": one.at_ms / 1000, "v": one.value} for one in resolved
    ]
    assert records(*again) == resolved


def test_multiple_data_types() -> None:
    """RFC 8428, 5.1.5: numbers, text, booleans and data side by side."""
    resolved = records(
        {"bn": f"{DEVICE}:", "n": "temp", "u": "Cel", "v": 23.1},
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "nfc-reader", "vd": "aGkgCg=="},
    )

    assert [(one.label, one.value) for one in resolved[:3]] == [
        ("v", 23.1),
        ("vs", "Machine Room"),
        ("vb", False),
    ]
    assert base64.urlsafe_b64decode(str(resolved[3].value)) == b"hi \n"


def test_later_base_fields_overwrite_earlier_ones() -> None:
    """Each base field holds up to the next record that has the same one, even an empty one."""
    resolved = records(
        {"bn": "a:", "bu": "Cel", "bv": 20, "bs": 1, "bt": 1.7e9, "n": "t", "v": 1.5},
        {"n": "t", "v": 2, "s": 4},
        {"bn": "", "bv": 0, "bs": 2, "n": "t", "v": 3},
        {"bu": "K", "bt": 1.8e9, "n": "t", "v": 4, "t": -1},
    )

    assert resolved == [
        Record("a:t", 1_700_000_000_000, "Cel", "v", 21.5, 1.0),
        Record("a:t", 1_700_000_000_000, "Cel", "v", 22.0, 5.0),
        Record("t", 1_700_000_000_000, "Cel", "v", 3.0, 2.0),
        Record("t", 1_799_999_999_000, "K", "v", 4.0, 2.0),
    ]


def test_a_record_of_base_fields_only_gives_nothing() -> None:
    """Base fields may come in a record of their own, without a value."""
    assert records({"bn": "a:", "bt": 1.7e9}, {"n": "t", "v": 1}) == [
        Record("a:t", 1_700_000_000_000, None, "v", 1.0, None)
    ]


@pytest.mark.parametrize(
    ("time", "at_ms"),
    [
        (0, NOW_MS),
        (-10, NOW_MS - 10_000),
        (2.5, NOW_MS + 2_500),
        (2**28 - 1, NOW_MS + (2**28 - 1) * 1000),
        (2**28, 2**28 * 1000),
        (1796000000.25, 1796000000250),
    ],
)
def test_small_times_are_relative(time: float, at_ms: int) -> None:
    """RFC 8428, 4.5.3: below 2**28 seconds a time is relative to now, from there on absolute."""
    assert records({"n": "t", "v": 1, "t": time})[0].at_ms == at_ms
    assert records({"n": "t", "v": 1, "bt": time})[0].at_ms == at_ms


def test_the_sum_of_base_time_and_time_decides_what_is_relative() -> None:
    """A small t with an absolute base time is an offset to it."""
    assert records({"n": "t", "v": 1, "bt": 1.7e9, "t": 5})[0].at_ms == 1_700_000_005_000


def test_a_sum_can_stand_without_a_value() -> None:
    """RFC 8428, 4.2: with a sum the value may be absent."""
    assert records({"n": "rain", "s": 3}) == [Record("rain", NOW_MS, None, None, None, 3.0)]


@pytest.mark.parametrize("version", [1, 5, 10, 26])
def test_known_versions_are_read(version: int) -> None:
    """Up to 10 by RFC 8428; 26 adds the secondary units of RFC 9100."""
    assert len(records({"n": "t", "v": 1, "bver": version}, {"n": "t", "v": 1})) == 2


@pytest.mark.parametrize(
    ("pack", "reason", "says"),
    [
        ({}, Rejection.NOT_SENML, "{} is no SenML pack"),
        ([], Rejection.NOT_SENML, r"\[\] is no SenML pack"),
        (23.4, Rejection.NOT_SENML, "23.4 is no SenML pack"),
        ([{"n": "t", "v": 1}, None], Rejection.NOT_SENML, "record 2: None is no SenML record"),
        ([{"bn": 5, "v": 1}], Rejection.NOT_SENML, "record 1: bn is 5; text would be right"),
        ([{"bu": None, "n": "t", "v": 1}], Rejection.NOT_SENML, "bu is None"),
        ([{"bt": "now", "n": "t", "v": 1}], Rejection.NOT_A_NUMBER, "bt is 'now'"),
        ([{"bv": True, "n": "t", "v": 1}], Rejection.NOT_A_NUMBER, "bv is True"),
        ([{"bs": float("inf"), "n": "t", "v": 1}], Rejection.NOT_FINITE, "bs is inf"),
        ([{"bver": 11, "n": "t", "v": 1}], Rejection.UNSUPPORTED, "bver 11 is not understood"),
        ([{"bver": 42, "n": "t", "v": 1}], Rejection.UNSUPPORTED, "bver 42 is not understood"),
        ([{"bver": 0, "n": "t", "v": 1}], Rejection.UNSUPPORTED, "1 to 10 and 26 are"),
        ([{"bver": 9.5, "n": "t", "v": 1}], Rejection.UNSUPPORTED, "bver 9.5"),
        (
            [{"bver": 5, "n": "t", "v": 1}, {"bver": 10, "n": "t", "v": 1}],
            Rejection.NOT_SENML,
            "bver is 10 after 5",
        ),
        ([{"n": "t", "v": 1}, {"bver": 5}], Rejection.NOT_SENML, "bver is 5 after 10"),
        (
            [{"n": "t", "v": 1, "scale_": 2}],
            Rejection.UNSUPPORTED,
            "label 'scale_' must be understood",
        ),
    ],
)
def test_a_broken_pack_is_rejected_whole(pack: object, reason: Rejection, says: str) -> None:
    """What every record depends on must be right: shape, base fields, version, must-understand."""
    with pytest.raises(PayloadError, match=says) as caught:
        resolve(pack, NOW_MS)

    assert caught.value.reason == reason


def test_other_unknown_labels_are_ignored() -> None:
    """RFC 8428, 4.4: a label that is not known and does not end in _ changes nothing."""
    assert len(records({"n": "t", "v": 1, "ct": "text/plain", "x": [{}]})) == 1


@pytest.mark.parametrize(
    ("record", "reason", "says"),
    [
        ({"n": "t"}, Rejection.MISSING, "'t' has no value; v would be right"),
        ({"bn": "t", "bv": 5, "u": "Cel"}, Rejection.MISSING, "'t' has no value"),
        ({"v": 1}, Rejection.BAD_NAME, "name ''"),
        ({}, Rejection.BAD_NAME, "name ''"),
        ({"n": ":t", "v": 1}, Rejection.BAD_NAME, "name ':t'; letters, digits and"),
        ({"n": "t t", "v": 1}, Rejection.BAD_NAME, "name 't t'"),
        ({"n": "t\n", "v": 1}, Rejection.BAD_NAME, "name 't\\n'"),
        ({"n": "tö", "v": 1}, Rejection.BAD_NAME, "name 'tö'"),
        ({"n": 5, "v": 1}, Rejection.BAD_NAME, "n is 5; text would be right"),
        ({"n": "t", "u": 5, "v": 1}, Rejection.WRONG_UNIT, "u is 5"),
        ({"n": "t", "v": "23.4"}, Rejection.NOT_A_NUMBER, "'t': v is '23.4'; a number"),
        ({"n": "t", "v": None}, Rejection.NOT_A_NUMBER, "'t': v is None"),
        ({"n": "t", "v": True}, Rejection.NOT_A_NUMBER, "'t': v is True"),
        ({"n": "t", "v": [1]}, Rejection.NOT_A_NUMBER, "'t': v is"),
        ({"n": "t", "v": 1, "vb": True}, Rejection.NOT_A_NUMBER, "'t' has v and vb; one value"),
        ({"n": "t", "vb": 1}, Rejection.NOT_A_NUMBER, "'t': vb is 1; true or false"),
        ({"n": "t", "vs": 1}, Rejection.NOT_A_NUMBER, "'t': vs is 1; text"),
        ({"n": "t", "v": float("nan")}, Rejection.NOT_FINITE, "'t': v is nan"),
        ({"n": "t", "v": float("inf")}, Rejection.NOT_FINITE, "'t': v is inf"),
        ({"n": "t", "v": 1e308, "bv": 1e308}, Rejection.NOT_FINITE, "'t': bv + v is inf"),
        ({"n": "t", "s": 1e308, "bs": 1e308}, Rejection.NOT_FINITE, "'t': bs + s is inf"),
        ({"n": "t", "v": 1, "t": "now"}, Rejection.BAD_TIME, "t is 'now'"),
        ({"n": "t", "v": 1, "t": float("nan")}, Rejection.BAD_TIME, "t is nan"),
        ({"n": "t", "v": 1, "t": 1.796e12}, Rejection.BAD_TIME, "seconds, not milliseconds"),
        ({"n": "t", "v": 1, "t": -1.796e9}, Rejection.BAD_TIME, "before July 1978"),
        ({"n": "t", "v": 1, "t": 1e308, "bt": 1e308}, Rejection.BAD_TIME, "is inf s"),
    ],
)
def test_a_bad_record_does_not_lose_its_siblings(
    record: dict[str, Any], reason: Rejection, says: str
) -> None:
    """A record that cannot be used is named with its reason; those before and after go in."""
    good = {"bn": "", "bv": 0, "bt": 0, "n": "t", "v": 1}

    before, bad, after = resolve([good, record, good], NOW_MS)

    assert isinstance(before, Record)
    assert isinstance(after, Record)
    assert isinstance(bad, Reject)
    assert bad.reason is reason
    assert bad.says.startswith("record 2: ")
    assert says in bad.says
