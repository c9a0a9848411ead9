"""Which photos belong to which journal entries; the pictures themselves are files."""

import json
import sqlite3
from collections.abc import Collection
from typing import NamedTuple

from monitor.errors import NotFound


class PhotoRow(NamedTuple):
    """A photo of an entry; ``name`` is the SHA-256 of its file."""

    name: str
    entry: int
    width: int
    height: int
    bytes: int
    created_ms: int


def add(connection: sqlite3.Connection, row: PhotoRow) -> None:
    """Keep a photo of an entry; one that is there already stays."""
    connection.execute(
        """
        INSERT INTO photo (hash, entry, width, height, bytes, created_ms)
        VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING
        """,
        row,
    )


def of(connection: sqlite3.Connection, entries: Collection[int]) -> dict[int, list[PhotoRow]]:
    """The photos of those entries that have any, in the order they were added."""
    rows = connection.execute(
        """
        SELECT hash, entry, width, height, bytes, created_ms FROM photo
        WHERE entry IN (SELECT value FROM json_each(?)) ORDER BY id
        """,
        (json.dumps(list(entries)),),
    )
    found: dict[int, list[PhotoRow]] = {}
    for row in rows:
        photo = PhotoRow(*row)
        found.setdefault(photo.entry, []).append(photo)
    return found


def names(connection: sqlite3.Connection) -> set[str]:
    """The names of all photos that any entry shows."""
    return {name for (name,) in connection.execute("SELECT DISTINCT hash FROM photo")}


def remove(connection: sqlite3.Connection, entry: int, name: str) -> None:
    """Take a photo out of an entry.

    Raises:
        NotFound: the entry has no such photo.
    """
    done = connection.execute("DELETE FROM photo WHERE entry = ? AND hash = ?", (entry, name))
    if done.rowcount == 0:
        raise NotFound(f"entry {entry} has no photo {name!r}")
