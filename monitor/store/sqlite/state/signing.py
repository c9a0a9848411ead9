"""Secrets of this database with which it signs what it hands out, and knows it again."""

import secrets
import sqlite3

BITS = 256


def made(connection: sqlite3.Connection, name: str) -> bytes:
    """The secret of a name, made the first time; needs a writing connection."""
    connection.execute(
        "INSERT INTO meta (key, value) VALUES (?, ?) ON CONFLICT DO NOTHING",
        (name, secrets.token_bytes(BITS // 8)),
    )
    kept = known(connection, name)
    assert kept is not None  # noqa: S101 - put there above
    return kept


def known(connection: sqlite3.Connection, name: str) -> bytes | None:
    """The secret of a name, or None if nothing has been signed with it yet."""
    row = connection.execute("SELECT value FROM meta WHERE key = ?", (name,)).fetchone()
    return None if row is None else bytes(row[0])
