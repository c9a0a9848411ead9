"""SenML packs (RFC 8428, RFC 9100): every record made to stand on its own.

Base fields persist to the records after them until overwritten: name = bn + n, time = bt + t,
value = bv + v, sum = bs + s, unit = u, else bu. A time below 2**28 s is relative to now.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from monitor.errors import PayloadError
from monitor.ingest.payload.decoded import EARLIEST_MS, LATEST_MS, Reject, Rejection, shown
from monitor.ingest.payload.document import finite_number

NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
RELATIVE_BELOW_S = 2**28
LATEST_S = LATEST_MS / 1000

_BASE_VERSION = 10
_SECONDARY_UNITS = 1 << 4  # the one feature RFC 9100 adds to the base version so far
_VERSIONS = frozenset({*range(1, _BASE_VERSION + 1), _BASE_VERSION + _SECONDARY_UNITS})

_BASE = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_REGULAR = frozenset({"n", "u", "v", "vb", "vs", "vd", "s", "t", "ut"})
_VALUES = frozenset({"v", "vb", "vs", "vd"})


class Record(NamedTuple):
    """A resolved record.

    ``label`` says what ``value`` is: v a float, vb a bool, vs text, vd base64url text. Both are
    None if the record has a sum only.
    """

    name: str
    at_ms: int
    unit: str | None
    label: str | None
    value: float | bool | str | None
    sum: float | None


def resolve(document: object, now_ms: int) -> list[Record | Reject]:
    """The records of a pack in their order, resolved; or why one of them could not be.

    A record of base fields only gives nothing. Relative times count from ``now_ms``, epoch ms UTC.
    Labels that are not known are ignored, unless they end in ``_``.

    Raises:
        PayloadError: the pack as a whole cannot be understood.
    """
    if not isinstance(document, list) or not document:
        raise PayloadError(
            Rejection.NOT_SENML, f"{shown(document)} is no SenML pack: an array of records is"
        )
    base = _Base()
    resolved: list[Record | Reject] = []
    for position, record in enumerate(document, start=1):
        try:
            base.take(record)
        except PayloadError as error:
            raise PayloadError(error.reason, f"record {position}: {error.says}") from error
        if record.keys() & _BASE and not record.keys() & _REGULAR:
            continue
        try:
            resolved.append(_resolved(record, base, now_ms))
        except PayloadError as error:
            says = f"record {position}: {error.says}"
            resolved.append(Reject(Rejection(error.reason), says))
    return resolved


@dataclass(slots=True)
class _Base:
    """What the records so far have laid down for those to come."""

    name: str = ""
    unit: str | None = None
    time: float = 0.0
    value: float = 0.0
    sum: float | None = None
    version: float | None = None

    def take(self, record: object) -> None:
        """Overwrite what the record's base fields name; raises what breaks the whole pack."""
        if not isinstance(record, dict):
            raise PayloadError(Rejection.NOT_SENML, f"{shown(record)} is no SenML record")
        for label in record:
            if label.endswith("_"):
                raise PayloadError(
                    Rejection.UNSUPPORTED, f"label {shown(label)} must be understood, and is not"
                )
        if "bn" in record:
            self.name = _text(record["bn"], "bn", Rejection.NOT_SENML)
        if "bu" in record:
            self.unit = _text(record["bu"], "bu", Rejection.NOT_SENML)
        if "bt" in record:
            self.time = finite_number(record["bt"], "bt")
        if "bv" in record:
            self.value = finite_number(record["bv"], "bv")
        if "bs" in record:
            self.sum = finite_number(record["bs"], "bs")
        self._take_version(record)

    def _take_version(self, record: Mapping[str, object]) -> None:
        version = finite_number(record["bver"], "bver") if "bver" in record else self.version
        if self.version is None:
            self.version = _BASE_VERSION if version is None else version
        elif version != self.version:
            raise PayloadError(
                Rejection.NOT_SENML,
                f"bver is {version:g} after {self.version:g}; a pack has one version",
            )
        if self.version not in _VERSIONS:
            raise PayloadError(
                Rejection.UNSUPPORTED,
                f"bver {self.version:g} is not understood; 1 to {_BASE_VERSION} and "
                f"{_BASE_VERSION + _SECONDARY_UNITS} are",
            )


def _resolved(record: Mapping[str, object], base: _Base, now_ms: int) -> Record:
    name = base.name
    if "n" in record:
        name += _text(record["n"], "n", Rejection.BAD_NAME)
    if not NAME.fullmatch(name):
        raise PayloadError(
            Rejection.BAD_NAME,
            f"name {shown(name)}; letters, digits and - : . / _ would be right, "
            "beginning with a letter or digit",
        )
    who = shown(name)
    label, value = _value(record, who, base.value)
    total = base.sum
    if "s" in record:
        total = (total or 0.0) + finite_number(record["s"], f"{who}: s")
        finite_number(total, f"{who}: bs + s")
    if label is None and total is None:
        raise PayloadError(Rejection.MISSING, f"{who} has no value; v would be right")
    unit = _text(record["u"], "u", Rejection.WRONG_UNIT) if "u" in record else base.unit
    return Record(name, _at_ms(record, base.time, now_ms), unit, label, value, total)


def _value(
    record: Mapping[str, object], who: str, base: float
) -> tuple[str | None, float | bool | str | None]:
    labels = sorted(_VALUES & record.keys())
    if not labels:
        return None, None
    if len(labels) > 1:
        raise PayloadError(
            Rejection.NOT_A_NUMBER, f"{who} has {' and '.join(labels)}; one value would be right"
        )
    label = labels[0]
    value = record[label]
    if label == "v":
        return label, finite_number(base + finite_number(value, f"{who}: v"), f"{who}: bv + v")
    if isinstance(value, bool if label == "vb" else str):
        return label, value
    right = "true or false" if label == "vb" else "text"
    raise PayloadError(
        Rejection.NOT_A_NUMBER, f"{who}: {label} is {shown(value)}; {right} would be right"
    )


def _at_ms(record: Mapping[str, object], base: float, now_ms: int) -> int:
    try:
        time = base + (finite_number(record["t"], "t") if "t" in record else 0.0)
    except PayloadError as error:
        raise PayloadError(Rejection.BAD_TIME, error.says) from error
    if abs(time) <= LATEST_S:
        at_ms = round(time * 1000) + (now_ms if time < RELATIVE_BELOW_S else 0)
        if EARLIEST_MS <= at_ms <= LATEST_MS:
            return at_ms
    raise PayloadError(
        Rejection.BAD_TIME,
        f"bt + t is {time:g} s, before July 1978 or after the year 9999; "
        "SenML times are seconds, not milliseconds",
    )


def _text(value: object, label: str, reason: Rejection) -> str:
    if not isinstance(value, str):
        raise PayloadError(reason, f"{label} is {shown(value)}; text would be right")
    return value
