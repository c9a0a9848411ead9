"""The journal: what the keeper saw and did, and what machines reported to have done."""

import json
import sqlite3
from collections.abc import Collection
from functools import lru_cache
from typing import NamedTuple

from monitor.errors import NotFound
from monitor.setup.journal import ENTRY, Entry, Misted, Source
from monitor.store.sqlite.state.query import Query
from monitor.times import HOUR_MS

LONGEST_MISTING_MS = HOUR_MS
"""A mister that reports nothing for longer than this missed an end (common practice, no source)."""

_SELECT = "SELECT id, place, source, created_ms, at_ms, kind, body FROM journal"


class JournalRow(NamedTuple):
    """A kept entry: what was written, for which place, by whom, and when it was written down."""

    id: int
    place: str
    source: Source
    created_ms: int
    entry: Entry


def add(
    connection: sqlite3.Connection, place: str, entry: Entry, source: Source, now_ms: int
) -> int:
    """Keep an entry; its id.

    A machine that says the same again (place, kind, source and time) adds nothing and gets the id
    of what it said before; a keeper means it.
    """
    body = entry.model_dump_json(exclude={"at_ms", "kind"}, exclude_defaults=True)
    row = connection.execute(
        """
        INSERT INTO journal (place, at_ms, kind, source, body, created_ms)
        VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING RETURNING id
        """,
        (place, entry.at_ms, entry.kind, source, body, now_ms),
    ).fetchone()
    if row is None:
        row = connection.execute(
            "SELECT id FROM journal WHERE place = ? AND at_ms = ? AND kind = ? AND source = ?",
            (place, entry.at_ms, entry.kind, source),
        ).fetchone()
    return int(row[0])


def page(
    connection: sqlite3.Connection,
    place: str,
    *,
    kinds: Collection[str] = (),
    since_ms: int | None = None,
    until_ms: int | None = None,
    before: tuple[int, int] | None = None,
    limit: int = 100,
) -> list[JournalRow]:
    """Entries of one place from ``since_ms`` until before ``until_ms``, newest first.

    For the next page give ``(entry.at_ms, id)`` of the last row of this one as ``before``.
    """
    query = Query(_SELECT)
    query.where("place = ?", place)
    if kinds:
        query.where("kind IN (SELECT value FROM json_each(?))", json.dumps(list(kinds)))
    if since_ms is not None:
        query.where("at_ms >= ?", since_ms)
    if until_ms is not None:
        query.where("at_ms < ?", until_ms)
    if before is not None:
        query.where("(at_ms, id) < (?, ?)", *before)
    rows = query.run(connection, "ORDER BY at_ms DESC, id DESC LIMIT ?", limit)
    return [_row(*row) for row in rows]


def since(
    connection: sqlite3.Connection, places: Collection[str], kind: str, since_ms: int
) -> list[JournalRow]:
    """Entries of one kind of many places from ``since_ms`` on, by place and time."""
    query = Query(_SELECT)
    query.where("place IN (SELECT value FROM json_each(?))", json.dumps(list(places)))
    query.where("at_ms >= ?", since_ms)
    query.where("kind = ?", kind)
    return [_row(*row) for row in query.run(connection, "ORDER BY place, at_ms, id")]


def get(connection: sqlite3.Connection, place: str, number: int) -> JournalRow:
    """One entry of one place.

    Raises:
        NotFound: there is none.
    """
    query = Query(_SELECT)
    query.where("id = ? AND place = ?", number, place)
    for row in query.run(connection, ""):
        return _row(*row)
    raise NotFound(f"no entry {number} in the journal of {place!r}")


def remove(connection: sqlite3.Connection, place: str, number: int) -> None:
    """Take an entry out, and which photos it had.

    Raises:
        NotFound: there is none.
    """
    get(connection, place, number)
    connection.execute("DELETE FROM journal WHERE id = ?", (number,))


def mister_switched(
    connection: sqlite3.Connection, place: str, at_ms: int, *, on: bool, now_ms: int
) -> bool:
    """Turn a mister's report into a misting: on begins one, off fills in its seconds.

    Repeats, also late ones, change nothing. An off without an on is dropped; an on whose off never
    came keeps unknown seconds. Returns whether the journal changed.
    """
    last = _last_misting(connection, place, at_ms)
    running = covered = False
    if last is not None:
        entry_id, started_ms, seconds = last
        elapsed_ms = at_ms - started_ms
        running = seconds is None and elapsed_ms <= LONGEST_MISTING_MS
        covered = seconds is not None and elapsed_ms <= 1000 * seconds
    if on and not (running or covered):
        add(connection, place, Misted(at=at_ms, kind="misted"), Source.MISTER, now_ms)
        return True
    if not on and running:
        connection.execute(
            "UPDATE journal SET body = json_set(body, '$.seconds', ?) WHERE id = ?",
            (elapsed_ms / 1000, entry_id),
        )
        return True
    return False


def _last_misting(
    connection: sqlite3.Connection, place: str, at_ms: int
) -> tuple[int, int, float | None] | None:
    """Id, start and seconds of the last misting a mister began by ``at_ms``."""
    row: tuple[int, int, float | None] | None = connection.execute(
        """
        SELECT id, at_ms, json_extract(body, '$.seconds') FROM journal
        WHERE place = ? AND kind = 'misted' AND source = 'mister' AND at_ms <= ?
        ORDER BY at_ms DESC LIMIT 1
        """,
        (place, at_ms),
    ).fetchone()
    return row


def _row(
    row_id: int, place: str, source: str, created_ms: int, at_ms: int, kind: str, body: str
) -> JournalRow:
    return JournalRow(row_id, place, Source(source), created_ms, _entry(at_ms, kind, body))


@lru_cache(maxsize=4096)
def _entry(at_ms: int, kind: str, body: str) -> Entry:
    """An entry as it is kept; the page of the room asks for the same mistings again and again."""
    entry: Entry = ENTRY.validate_python({"at": at_ms, "kind": kind, **json.loads(body)})
    return entry
