"""SenML JSON (RFC 8428) to readings.

The topic says which probe it is; of a record's name only the last part counts, after the last
``:``, ``/`` or ``.`` (as in ``urn:dev:ow:10e2073a01080063:temperature``). A hyphen or underscore
does not end a part: it belongs to names such as ``surface_temperature``.
"""

import re
from functools import lru_cache
from math import nan

import msgspec
from msgspec import UNSET, UnsetType

from monitor.ingest.payload.decoded import (
    EARLIEST_MS,
    LATEST_MS,
    Decoded,
    Decoder,
    Reject,
    Rejection,
    shown,
    too_large,
)
from monitor.ingest.payload.document import parse_leniently
from monitor.ingest.payload.pack import LATEST_S, NAME, RELATIVE_BELOW_S, Record, resolve
from monitor.ingest.payload.units import UNITS, wrong_unit
from monitor.quantities import MEASURED, Quantity
from monitor.setup.sources import Source

SWITCHES = frozenset({"mister"})
"""What may report itself as on or off with ``vb``."""

_SEPARATORS = re.compile("[:/.]")
_OWN_UNIT = {quantity: trait.unit for quantity, trait in MEASURED.items()}
_TEXT = frozenset({"vs", "vd"})


def senml_decoder(_source: Source, max_bytes: int) -> Decoder:
    """Reads every message as a pack; its records name their quantities themselves."""

    def decode(payload: bytes, arrival_ms: int) -> Decoded:
        if len(payload) > max_bytes:
            raise too_large(payload, max_bytes)
        return read_everyday(payload, arrival_ms) or read_any(payload, arrival_ms)

    return decode


class _Everyday(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    v: float
    n: str = ""
    t: float = 0.0
    u: str | UnsetType = UNSET
    bn: str | UnsetType = UNSET
    bt: float | UnsetType = UNSET
    bu: str | UnsetType = UNSET


_everyday = msgspec.json.Decoder(list[_Everyday])


def read_everyday(payload: bytes, arrival_ms: int) -> Decoded | None:
    """The pack that nearly every message is: sound readings in our own units, nothing else.

    None means that a closer look is needed, nothing worse: :func:`read_any` answers the same for
    every pack that this reads, at many times the cost.
    """
    try:
        pack = _everyday.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None
    name = ""
    base_time = 0.0
    base_unit: str | UnsetType = UNSET
    time_s = nan
    at_ms = 0
    numbers: list[tuple[Quantity, int, float]] = []
    for record in pack:
        if record.bn is not UNSET:
            name = record.bn
        if record.bt is not UNSET:
            base_time = record.bt
        if record.bu is not UNSET:
            base_unit = record.bu
        quantity = _quantity_named(name + record.n)
        if quantity is None:
            return None
        unit = base_unit if record.u is UNSET else record.u
        if unit is not UNSET and unit != _OWN_UNIT[quantity]:
            return None
        if base_time + record.t != time_s:
            time_s = base_time + record.t
            if not -LATEST_S <= time_s <= LATEST_S:
                return None
            at_ms = round(time_s * 1000)
            if time_s < RELATIVE_BELOW_S:
                at_ms += arrival_ms
            if not EARLIEST_MS <= at_ms <= LATEST_MS:
                return None
        numbers.append((quantity, at_ms, record.v))
    return Decoded(numbers) if numbers else None


def read_any(payload: bytes, arrival_ms: int) -> Decoded:
    """Any pack, by every rule; a record that cannot be used is left out with its reason.

    Raises:
        PayloadError: the pack as a whole cannot be used.
    """
    numbers: list[tuple[Quantity, int, float]] = []
    switches: list[tuple[str, int, bool]] = []
    rejects: list[Reject] = []
    for record in resolve(parse_leniently(payload), arrival_ms):
        if isinstance(record, Reject):
            rejects.append(record)
            continue
        last_part = _last_part(record.name)
        if last_part in MEASURED:
            reading = _reading(record, Quantity(last_part))
            if isinstance(reading, Reject):
                rejects.append(reading)
            else:
                numbers.append(reading)
        elif last_part in SWITCHES:
            if isinstance(record.value, bool):
                switches.append((last_part, record.at_ms, record.value))
            else:
                rejects.append(_wrong_kind(record, "true or false in vb"))
        elif record.label not in _TEXT:
            rejects.append(_unknown(record))
    return Decoded(numbers, switches, rejects)


def _reading(record: Record, quantity: Quantity) -> tuple[Quantity, int, float] | Reject:
    if not isinstance(record.value, float):
        return _wrong_kind(record, "a number in v")
    if record.unit is None:
        return quantity, record.at_ms, record.value
    convert = UNITS[quantity].get(record.unit)
    if convert is None:
        return Reject(
            Rejection.WRONG_UNIT, f"{shown(record.name)} {wrong_unit(quantity, record.unit)}"
        )
    return quantity, record.at_ms, convert(record.value)


def _wrong_kind(record: Record, right: str) -> Reject:
    label, value = (record.label, record.value) if record.label else ("s", record.sum)
    return Reject(
        Rejection.NOT_A_NUMBER,
        f"{shown(record.name)} has {label} {shown(value)}; {right} would be right",
    )


def _unknown(record: Record) -> Reject:
    right = ", ".join((*MEASURED, *sorted(SWITCHES)))
    return Reject(Rejection.UNKNOWN_NAME, f"{shown(record.name)} is not measured here; {right} are")


def _last_part(name: str) -> str:
    return _SEPARATORS.split(name)[-1]


@lru_cache(maxsize=4096)
def _quantity_named(name: str) -> Quantity | None:
    last_part = _last_part(name)
    return Quantity(last_part) if last_part in MEASURED and NAME.fullmatch(name) else None
