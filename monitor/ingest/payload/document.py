"""Bytes to a JSON document, and a document's values to numbers.

The fast parser takes only what is JSON to the letter. What it refuses is read once more by a
lenient one, so that a rejection can name the field that holds NaN or 1e400 and keep its siblings.
"""

import json
from math import inf, isfinite

import msgspec

from monitor.errors import PayloadError
from monitor.ingest.payload.decoded import Rejection, shown

# Every number becomes a float: an integer of any length is then finite or infinite, never an error.
_lenient = json.JSONDecoder(parse_int=float)


def parse(payload: bytes) -> object:
    """The JSON document in a message.

    Raises:
        PayloadError: it is not UTF-8, not JSON, or nested too deeply.
    """
    try:
        document: object = msgspec.json.decode(payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return parse_leniently(payload)
    return document


def parse_leniently(payload: bytes) -> object:
    """As :func:`parse`, but lets NaN and infinities through and makes every number a float."""
    try:
        document: object = _lenient.decode(payload.decode())
    except UnicodeDecodeError as error:
        raise PayloadError(
            Rejection.NOT_UTF8, f"byte {error.start} is {payload[error.start]:#04x}, not UTF-8 text"
        ) from error
    except json.JSONDecodeError as error:
        raise PayloadError(
            Rejection.MALFORMED, f"not JSON at character {error.pos}: {error.msg}"
        ) from error
    except RecursionError as error:
        raise PayloadError(Rejection.TOO_DEEP, "nested too deeply to be read") from error
    return document


def finite_number(value: object, where: str) -> float:
    """A JSON number as a float.

    Raises:
        PayloadError: it is no number, or none that is finite; ``where`` names the field.
    """
    if type(value) is float:
        number = value
    elif type(value) is int:
        try:
            number = float(value)
        except OverflowError:
            number = inf
    else:
        raise PayloadError(
            Rejection.NOT_A_NUMBER, f"{where} is {shown(value)}; a number would be right"
        )
    if not isfinite(number):
        raise PayloadError(Rejection.NOT_FINITE, f"{where} is {number}; no sensor measures that")
    return number


def decimal(text: str, where: str) -> float:
    """A number written as text: an ASCII decimal, spaces around it allowed.

    Raises:
        PayloadError: as for :func:`finite_number`.
    """
    try:
        number = float(text)
        # float() also takes 1_000 and the digits of other scripts; no sensor means those
        plain = text.isascii() and "_" not in text
    except ValueError:
        plain = False
    if not plain:
        raise PayloadError(
            Rejection.NOT_A_NUMBER,
            f"{where} is {shown(text)}; a decimal number like 23.4 would be right",
        )
    return finite_number(number, where)
