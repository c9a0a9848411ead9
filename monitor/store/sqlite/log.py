"""The log: readings as they arrive, a row for each batch, until they are tidied into chapters.

A row holds its readings as packed records. So a commit of a few messages touches one page of the
file, and a large batch costs no statement per reading. Repeats stay in until a reader, or the
tidying, takes the first of them.
"""

import sqlite3

import numpy as np
import numpy.typing as npt

from monitor.store.readings import Readings

RECORD = np.dtype([("at_ms", "<i8"), ("series", "<i4"), ("value", "<f8"), ("reason", "u1")])

Records = npt.NDArray[np.void]

SMALL = 1 << 16
"""Rows below this many bytes are worth joining."""


def append(connection: sqlite3.Connection, readings: Readings) -> None:
    """Write a batch at the end."""
    _insert(connection, records(readings).tobytes())


def read(connection: sqlite3.Connection) -> Records:
    """All readings in the order in which they arrived."""
    batches = connection.execute("SELECT batch FROM log ORDER BY id").fetchall()
    return np.frombuffer(b"".join([batch for (batch,) in batches]), RECORD)


def records(readings: Readings) -> Records:
    """Columns as records."""
    packed = np.empty(len(readings), RECORD)
    packed["at_ms"] = readings.at_ms
    packed["series"] = readings.series
    packed["value"] = readings.value
    packed["reason"] = readings.reason
    return packed


def columns(records: Records) -> Readings:
    """Records as columns."""
    return Readings(
        series=records["series"].astype(np.int64),
        at_ms=np.ascontiguousarray(records["at_ms"]),
        value=np.ascontiguousarray(records["value"]),
        reason=np.ascontiguousarray(records["reason"]),
    )


def size(connection: sqlite3.Connection) -> tuple[int, int]:
    """How many rows there are and how many readings they hold."""
    rows, length = connection.execute("SELECT count(*), total(length(batch)) FROM log").fetchone()
    return rows, int(length) // RECORD.itemsize


def replace(connection: sqlite3.Connection, records: Records) -> None:
    """Leave only these records, as one row."""
    connection.execute("DELETE FROM log")
    if len(records):
        _insert(connection, records.tobytes())


def fold(connection: sqlite3.Connection) -> None:
    """Join the small rows at the end to one, so that reading the log takes few steps."""
    (last_large,) = connection.execute(
        "SELECT coalesce(max(id), 0) FROM log WHERE length(batch) >= ?", (SMALL,)
    ).fetchone()
    tail = connection.execute(
        "SELECT batch FROM log WHERE id > ? ORDER BY id", (last_large,)
    ).fetchall()
    connection.execute("DELETE FROM log WHERE id > ?", (last_large,))
    if tail:
        _insert(connection, b"".join([batch for (batch,) in tail]))


def _insert(connection: sqlite3.Connection, batch: bytes) -> None:
    connection.execute("INSERT INTO log (batch) VALUES (?)", (batch,))
