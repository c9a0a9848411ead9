"""How far an import has come, so that one that was interrupted goes on from there."""

import sqlite3


def done(connection: sqlite3.Connection, name: str) -> int:
    """How many rows of a file are in; 0 if it was never begun, or brought to its end."""
    row = connection.execute("SELECT value FROM meta WHERE key = ?", (_key(name),)).fetchone()
    return int(row[0]) if row else 0


def note(connection: sqlite3.Connection, name: str, rows: int) -> None:
    """So many rows of a file are in."""
    connection.execute(
        "INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)",
        (_key(name), str(rows).encode()),
    )


def forget(connection: sqlite3.Connection, name: str) -> None:
    """All of a file is in."""
    connection.execute("DELETE FROM meta WHERE key = ?", (_key(name),))


def _key(name: str) -> str:
    return f"import/{name}"
