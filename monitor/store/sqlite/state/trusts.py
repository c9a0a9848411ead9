"""What the checks of the probes found last: one document for each place."""

import sqlite3
from typing import NamedTuple


class TrustRow(NamedTuple):
    """A document and when it was true."""

    at_ms: int
    body: str


def put(connection: sqlite3.Connection, place: str, at_ms: int, body: str) -> None:
    """Keep what was found, in place of what was found before."""
    connection.execute(
        """
        INSERT INTO trust (place, at_ms, body) VALUES (?, ?, ?)
        ON CONFLICT (place) DO UPDATE SET at_ms = excluded.at_ms, body = excluded.body
        """,
        (place, at_ms, body),
    )


def get(connection: sqlite3.Connection, place: str) -> TrustRow | None:
    """What was found last, if anyone ever looked."""
    row = connection.execute("SELECT at_ms, body FROM trust WHERE place = ?", (place,)).fetchone()
    return None if row is None else TrustRow(*row)
