"""The spool: batches that are committed here and not yet safe at the server.

A batch is put down in the transaction that holds the alarms it led to, so that both are there or
neither; only then is it sent. What a crash leaves in the spool is sent at the next start. A batch
that is safe at the server is taken out in the next transaction that writes anyway.
"""

import sqlite3

import numpy as np

from monitor.store.readings import Readings
from monitor.store.sqlite.log import RECORD, columns, records


def put(connection: sqlite3.Connection, readings: Readings) -> int:
    """Put a batch at the end; its id."""
    batch = records(readings).tobytes()
    cursor = connection.execute("INSERT INTO spool (batch) VALUES (?)", (batch,))
    return cursor.lastrowid or 0


def get(connection: sqlite3.Connection, batch_id: int) -> Readings | None:
    """A batch, if it is still there."""
    row = connection.execute("SELECT batch FROM spool WHERE id = ?", (batch_id,)).fetchone()
    return None if row is None else columns(np.frombuffer(row[0], RECORD))


def ids(connection: sqlite3.Connection) -> list[int]:
    """The ids of all batches, oldest first."""
    return [batch for (batch,) in connection.execute("SELECT id FROM spool ORDER BY id")]


def drop(connection: sqlite3.Connection, upto_id: int) -> None:
    """Take out all batches up to one."""
    connection.execute("DELETE FROM spool WHERE id <= ?", (upto_id,))
