"""What comes out of a message: readings, switches, and what had to be left out, with a reason."""

from collections.abc import Callable, Sequence
from enum import StrEnum
from reprlib import Repr
from typing import NamedTuple

import msgspec

from monitor.errors import PayloadError
from monitor.quantities import Quantity

MAX_BYTES = 256 * 1024
"""Longest message that is read at all, unless the caller says otherwise."""

EARLIEST_MS = 1000 * 2**28
"""Epoch ms, July 1978: SenML takes anything smaller for a relative time (RFC 8428)."""
LATEST_MS = 253_402_300_799_999
"""Epoch ms, the last of the year 9999: nothing later can be written as RFC 3339."""


class Rejection(StrEnum):
    """Why a message, or one record of it, did not become a reading. Counted under these words."""

    TOO_LARGE = "too_large"
    NOT_UTF8 = "not_utf8"
    MALFORMED = "malformed"
    TOO_DEEP = "too_deep"
    NOT_SENML = "not_senml"
    UNSUPPORTED = "unsupported"
    BAD_TIME = "bad_time"
    MISSING = "missing"
    NOT_A_NUMBER = "not_a_number"
    NOT_FINITE = "not_finite"
    BAD_NAME = "bad_name"
    UNKNOWN_NAME = "unknown_name"
    WRONG_UNIT = "wrong_unit"

    @property
    def meaning(self) -> str:
        """What was wrong, in a few words."""
        return _EXPLAINED[self][0]

    @property
    def advice(self) -> str:
        """What the keeper of the device can do."""
        return _EXPLAINED[self][1]


_EXPLAINED = {
    Rejection.TOO_LARGE: (
        "the message is longer than 256 KiB",
        "publish more often, with fewer records in a message",
    ),
    Rejection.NOT_UTF8: (
        "the message is not UTF-8 text",
        "publish text; binary forms such as CBOR are not read",
    ),
    Rejection.MALFORMED: (
        "the message is not JSON, or stops half-way",
        "check the device's buffer size and its quotes and commas",
    ),
    Rejection.TOO_DEEP: (
        "the JSON is nested too deeply",
        "publish a flat object",
    ),
    Rejection.NOT_SENML: (
        "the JSON is no SenML pack, or a base field in it has the wrong type",
        'publish an array of records, or read the topic with payload = "json"',
    ),
    Rejection.UNSUPPORTED: (
        "the pack needs a SenML version or extension that is not known here",
        "leave out `bver` and labels that end in `_`",
    ),
    Rejection.BAD_TIME: (
        "the time is missing, cannot be read, or lies before July 1978 or after the year 9999",
        "set the device's clock, and check `time_unit`",
    ),
    Rejection.MISSING: (
        "there is no value where one should be",
        "check the pointer, or give the record a `v`",
    ),
    Rejection.NOT_A_NUMBER: (
        "the value is text, true or false, null, a list or an object",
        "publish a plain decimal number with a point, like 23.4",
    ),
    Rejection.NOT_FINITE: (
        "the value is NaN, infinite or too large for a number",
        "publish nothing while the sensor has no value",
    ),
    Rejection.BAD_NAME: (
        "the record's name is empty or holds characters SenML does not allow",
        "use letters, digits and - : . / _, beginning with a letter or digit",
    ),
    Rejection.UNKNOWN_NAME: (
        "the name is none of the quantities that are measured here",
        "rename it if it is one of them, else ignore the count",
    ),
    Rejection.WRONG_UNIT: (
        "the unit does not belong to the quantity",
        "convert on the device, or correct the unit",
    ),
}


class Reject(NamedTuple):
    """One record that was left out while its siblings went in."""

    reason: Rejection
    says: str


Number = tuple[Quantity, int, float]
"""Quantity, epoch ms UTC, finite value in the quantity's unit, not calibrated."""


class Decoded(msgspec.Struct, gc=False):
    """All that one message held; ``switches``: (name, epoch ms UTC, on or off)."""

    numbers: Sequence[Number]
    switches: Sequence[tuple[str, int, bool]] = ()
    rejects: Sequence[Reject] = ()


Decoder = Callable[[bytes, int], Decoded]
"""Reads (payload, arrival as epoch ms UTC); raises ``PayloadError`` if none of it can be used."""


def too_large(payload: bytes, max_bytes: int) -> PayloadError:
    """The error for a message over the limit."""
    return PayloadError(Rejection.TOO_LARGE, f"{len(payload)} bytes; at most {max_bytes} are read")


_short = Repr()
_short.maxstring = _short.maxother = _short.maxlong = 60
_short.maxlevel = 1


def shown(value: object) -> str:
    """A value for a message to the keeper: on one line and short, whatever a device sent."""
    return _short.repr(value)
