"""JSON of any shape, its values found by JSON Pointers (RFC 6901)."""

from collections.abc import Callable

from jsonpointer import EndOfList, JsonPointer

from monitor.errors import PayloadError
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
from monitor.ingest.payload.document import decimal, finite_number, parse
from monitor.quantities import Quantity
from monitor.setup.sources import Source, TimeUnit
from monitor.times import parse_rfc3339

_NOTHING = object()

_MS = {
    TimeUnit.SECONDS: 1000.0,
    TimeUnit.MILLISECONDS: 1.0,
    TimeUnit.MICROSECONDS: 1e-3,
    TimeUnit.NANOSECONDS: 1e-6,
}


def json_decoder(source: Source, max_bytes: int) -> Decoder:
    """Reads each of the source's pointers from every message.

    A pointer that leads nowhere, or to something that is no number, loses that one value only. A
    time that cannot be read loses the message: its values would stand at the wrong time.
    """
    fields = [
        (quantity, pointer, JsonPointer(pointer).resolve)
        for quantity, pointer in source.pointers.items()
    ]
    clock = None if source.time is None else _clock(source.time, source.time_unit)

    def decode(payload: bytes, arrival_ms: int) -> Decoded:
        if len(payload) > max_bytes:
            raise too_large(payload, max_bytes)
        document = parse(payload)
        at_ms = arrival_ms if clock is None else clock(document)
        numbers: list[tuple[Quantity, int, float]] = []
        rejects: list[Reject] = []
        for quantity, pointer, find in fields:
            value = find(document, _NOTHING)
            try:
                numbers.append((quantity, at_ms, _number(value, pointer)))
            except PayloadError as error:
                rejects.append(Reject(Rejection(error.reason), f"{quantity}: {error.says}"))
        return Decoded(numbers, (), rejects)

    return decode


def _number(value: object, pointer: str) -> float:
    """Devices often write numbers as text; that is taken, as long as it is a plain decimal."""
    if isinstance(value, str):
        return decimal(value, pointer)
    if value is _NOTHING or isinstance(value, EndOfList):
        raise PayloadError(Rejection.MISSING, f"nothing stands at {pointer}")
    return finite_number(value, pointer)


def _clock(pointer: str, unit: TimeUnit) -> Callable[[object], int]:
    find = JsonPointer(pointer).resolve

    def clock(document: object) -> int:
        value = find(document, _NOTHING)
        try:
            at_ms: float
            if unit is TimeUnit.RFC3339:
                at_ms = _rfc3339(value, pointer)
            else:
                at_ms = _number(value, pointer) * _MS[unit]
        except PayloadError as error:
            raise PayloadError(Rejection.BAD_TIME, f"time: {error}") from error
        if not EARLIEST_MS <= at_ms <= LATEST_MS:
            raise PayloadError(
                Rejection.BAD_TIME,
                f"time: {pointer} is {shown(value)}, read as {unit}; that lies before July 1978 "
                "or after the year 9999",
            )
        return round(at_ms)

    return clock


def _rfc3339(value: object, pointer: str) -> int:
    try:
        return parse_rfc3339(value if isinstance(value, str) else "")
    except ValueError as error:
        raise PayloadError(
            Rejection.BAD_TIME,
            f"{pointer} is {shown(value)}; 2026-01-01T20:00:00Z would be right",
        ) from error
