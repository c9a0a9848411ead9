"""Verdicts on builds: of each enclosure a row for every verdict, as long as it stood."""

import datetime as dt
import sqlite3

from monitor.store.rows import VerdictRow
from monitor.store.sqlite.state.query import Query

_SELECT = "SELECT place, since_ms, at_ms, verdict, built_on, says FROM verdict"


def note(connection: sqlite3.Connection, row: VerdictRow) -> VerdictRow | None:
    """Keep a verdict; the one on the same build before it, None if it is the first.

    The same verdict again makes the row before it last until ``row.at_ms``. What claims to be of
    later was noted by a clock that has been put right since, and is dropped.
    """
    connection.execute(
        "DELETE FROM verdict WHERE place = ? AND since_ms > ?", (row.place, row.at_ms)
    )
    before = next(reversed(history(connection, row.place, row.built_on, row.at_ms)), None)
    since_ms = before.since_ms if before and before.verdict == row.verdict else row.since_ms
    connection.execute(
        """
        INSERT INTO verdict (place, since_ms, at_ms, verdict, built_on, says)
        VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (place, since_ms) DO UPDATE SET
            at_ms = excluded.at_ms, verdict = excluded.verdict, built_on = excluded.built_on,
            says = excluded.says
        """,
        (row.place, since_ms, row.at_ms, row.verdict, _text(row.built_on), row.says),
    )
    return before


def history(
    connection: sqlite3.Connection, place: str, built_on: dt.date | None, until_ms: int
) -> list[VerdictRow]:
    """All verdicts on a build that were found first at ``until_ms`` or before, oldest first."""
    query = Query(_SELECT)
    query.where("place = ?", place)
    query.where("built_on IS ?", _text(built_on))
    query.where("since_ms <= ?", until_ms)
    return [_row(*row) for row in query.run(connection, "ORDER BY since_ms")]


def asked_at_ms(connection: sqlite3.Connection, now_ms: int) -> dict[str, int]:
    """When each enclosure with any verdict was last judged; 0 if that lies ahead."""
    rows = connection.execute(
        """
        SELECT place, max(CASE WHEN at_ms <= ? THEN at_ms ELSE 0 END) FROM verdict GROUP BY place
        """,
        (now_ms,),
    )
    return dict(rows.fetchall())


def _text(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


def _row(
    place: str, since_ms: int, at_ms: int, verdict: str, built_on: str | None, says: str | None
) -> VerdictRow:
    day = None if built_on is None else dt.date.fromisoformat(built_on)
    return VerdictRow(place, since_ms, at_ms, verdict, day, says)
