"""Alarms, open and past, what the watched points remember, and what keeps alarms quiet."""

import json
import sqlite3
from collections.abc import Collection, Iterable

from monitor.errors import NotFound
from monitor.store.rows import AlarmRow, PointRow, SuppressionRow
from monitor.store.sqlite.state.query import Query

_SELECT = "SELECT id, place, state, raised_at_ms, closed, body FROM alarm"


def put(connection: sqlite3.Connection, alarms: Iterable[AlarmRow]) -> None:
    """Keep alarms, each in place of what was kept under its id."""
    connection.executemany(
        """
        INSERT INTO alarm (id, place, state, raised_at_ms, closed, body) VALUES (?, ?, ?, ?, ?, ?)
        ON CONFLICT (id) DO UPDATE SET state = excluded.state, closed = excluded.closed,
            body = excluded.body
        """,
        alarms,
    )


def get(connection: sqlite3.Connection, alarm_id: str) -> AlarmRow:
    """One alarm.

    Raises:
        NotFound: there is none with this id.
    """
    row = connection.execute(f"{_SELECT} WHERE id = ?", (alarm_id,)).fetchone()
    if row is None:
        raise NotFound(f"no alarm {alarm_id!r}")
    return _alarm(*row)


def page(
    connection: sqlite3.Connection,
    *,
    place: str | None = None,
    states: Collection[str] = (),
    since_ms: int | None = None,
    until_ms: int | None = None,
    before: tuple[int, str] | None = None,
    limit: int = 100,
) -> list[AlarmRow]:
    """Alarms raised from ``since_ms`` until before ``until_ms``, newest first.

    For the next page give ``(raised_at_ms, id)`` of the last alarm of this one as ``before``.
    """
    query = Query(_SELECT)
    if states:
        query.where("state IN (SELECT value FROM json_each(?))", json.dumps(list(states)))
    if place is not None:
        query.where("place = ?", place)
    if since_ms is not None:
        query.where("raised_at_ms >= ?", since_ms)
    if until_ms is not None:
        query.where("raised_at_ms < ?", until_ms)
    if before is not None:
        query.where("(raised_at_ms, id) < (?, ?)", *before)
    rows = query.run(connection, "ORDER BY raised_at_ms DESC, id DESC LIMIT ?", limit)
    return [_alarm(*row) for row in rows]


def still_open(connection: sqlite3.Connection) -> list[AlarmRow]:
    """All alarms that are not closed, newest first."""
    query = Query(_SELECT)
    query.where("NOT closed")
    return [_alarm(*row) for row in query.run(connection, "ORDER BY raised_at_ms DESC, id DESC")]


def closed_since(connection: sqlite3.Connection, since_ms: int) -> list[AlarmRow]:
    """Alarms raised at ``since_ms`` or later that are closed, newest first."""
    query = Query(_SELECT)
    query.where("closed")
    query.where("raised_at_ms >= ?", since_ms)
    return [_alarm(*row) for row in query.run(connection, "ORDER BY raised_at_ms DESC, id DESC")]


def put_suppressions(connection: sqlite3.Connection, rows: Iterable[SuppressionRow]) -> None:
    """Keep what keeps alarms quiet, each in place of what was kept under its key."""
    connection.executemany(
        """
        INSERT INTO suppression (key, place, body) VALUES (?, ?, ?)
        ON CONFLICT (key) DO UPDATE SET body = excluded.body
        """,
        rows,
    )


def forget_suppressions(connection: sqlite3.Connection, keys: Iterable[str]) -> None:
    """Drop those that are over; unknown ones do no harm."""
    connection.executemany("DELETE FROM suppression WHERE key = ?", ((key,) for key in keys))


def suppressions(connection: sqlite3.Connection, place: str | None = None) -> list[SuppressionRow]:
    """What keeps alarms quiet, of one place or of all, by key."""
    query = Query("SELECT key, place, body FROM suppression")
    if place is not None:
        query.where("place = ?", place)
    return [SuppressionRow(*row) for row in query.run(connection, "ORDER BY key")]


def put_points(connection: sqlite3.Connection, points: Iterable[PointRow]) -> None:
    """Keep what points remember, each in place of what it remembered before."""
    connection.executemany(
        """
        INSERT INTO alarm_point (key, body) VALUES (?, ?)
        ON CONFLICT (key) DO UPDATE SET body = excluded.body
        """,
        points,
    )


def forget_points(connection: sqlite3.Connection, keys: Iterable[str]) -> None:
    """Drop points that are no longer watched; unknown ones do no harm."""
    connection.executemany("DELETE FROM alarm_point WHERE key = ?", ((key,) for key in keys))


def points(connection: sqlite3.Connection) -> list[PointRow]:
    """All points that remember something."""
    return [PointRow(*row) for row in connection.execute("SELECT key, body FROM alarm_point")]


def _alarm(
    alarm_id: str, place: str, state: str, raised_at_ms: int, closed: int, body: str
) -> AlarmRow:
    return AlarmRow(alarm_id, place, state, raised_at_ms, bool(closed), body)
