"""Notifications on their way out: kept from the commit that caused them until they are delivered.

An entry waits, is delivered, is given up, or is called off because a keeper has seen to its alarm
before it could leave. All but the first are kept for a while, so that a repeat is recognised and a
keeper can see what never arrived. What comes before the first slash of an idempotency key is the
alarm that the notice is about.
"""

import json
import sqlite3
from collections.abc import Collection, Iterable, Mapping
from typing import NamedTuple

from monitor.store.rows import Notice, Told

COVERED = "covered"
"""The kind of an entry that was never sent, because a summary spoke for it."""


class Waiting(NamedTuple):
    """An entry that is neither delivered nor given up, nor called off."""

    id: int
    notice: Notice
    created_ms: int
    next_attempt_ms: int
    attempts: int


class Stats(NamedTuple):
    """How one channel does; ``last_error`` is of the latest entry that waits or was given up."""

    channel: str
    waiting: int
    oldest_ms: int | None
    given_up: int
    called_off: int
    last_error: str | None


def add(
    connection: sqlite3.Connection, notices: Iterable[Notice], now_ms: int, hold_ms: int = 0
) -> int:
    """Put notices in line, leaving out those that were put there before; how many are new.

    One that was called off has not been told: it is put there anew.

    With ``hold_ms`` they leave so much later, unless :func:`complete` sends them off before.
    """
    added = 0
    for notice in notices:
        added += connection.execute(
            """
            INSERT INTO outbox
                (channel, idempotency_key, kind, body, created_ms, next_attempt_ms)
            VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET
                kind = excluded.kind, body = excluded.body, created_ms = excluded.created_ms,
                next_attempt_ms = excluded.next_attempt_ms, attempts = 0, last_error = NULL,
                called_off_ms = NULL
            WHERE called_off_ms IS NOT NULL
            """,
            (*notice, now_ms, now_ms + hold_ms),
        ).rowcount
    return added


def cover(connection: sqlite3.Connection, covered: Iterable[tuple[str, str]], now_ms: int) -> None:
    """Count notices (channel and key) as told, because another one speaks for them."""
    connection.executemany(
        """
        INSERT INTO outbox (channel, idempotency_key, kind, body, created_ms, next_attempt_ms,
            delivered_ms)
        VALUES (?1, ?2, ?3, '{}', ?4, ?4, ?4) ON CONFLICT DO UPDATE SET
            kind = excluded.kind, created_ms = excluded.created_ms,
            delivered_ms = excluded.delivered_ms, called_off_ms = NULL
        WHERE called_off_ms IS NOT NULL
        """,
        ((channel, key, COVERED, now_ms) for channel, key in covered),
    )


def told(connection: sqlite3.Connection, alarm_ids: Collection[str], since_ms: int) -> Told:
    """What is remembered about some alarms, and how much each channel was given since a time.

    What was called off was not told, and took nobody's time.
    """
    at_ms = connection.execute(
        """
        SELECT channel, idempotency_key, created_ms FROM outbox
        WHERE about IN (SELECT value FROM json_each(?)) AND called_off_ms IS NULL
        """,
        (json.dumps(list(alarm_ids)),),
    )
    lately = connection.execute(
        """
        SELECT channel, count(*) FROM outbox
        WHERE created_ms > ? AND kind <> ? AND called_off_ms IS NULL GROUP BY channel
        """,
        (since_ms, COVERED),
    )
    return Told({(channel, key): at for channel, key, at in at_ms.fetchall()}, dict(lately))


def complete(
    connection: sqlite3.Connection, alarm_id: str, more: Mapping[str, object], now_ms: int
) -> int:
    """Add to the documents about an alarm that wait and were never tried, and send them off.

    How many those were.
    """
    rows = connection.execute(
        "SELECT id, body FROM outbox WHERE about = ? AND attempts = 0 AND waits",
        (alarm_id,),
    ).fetchall()
    connection.executemany(
        "UPDATE outbox SET body = ?, next_attempt_ms = ? WHERE id = ?",
        (
            (json.dumps(json.loads(body) | more, ensure_ascii=False), now_ms, entry_id)
            for entry_id, body in rows
        ),
    )
    return len(rows)


def call_off(
    connection: sqlite3.Connection, alarm_id: str, calls: Collection[str], now_ms: int
) -> list[tuple[str, str]]:
    """Take out of the line what need not be told of an alarm any more: channel and key of each.

    That is what waits of the kinds that call for a keeper, and what else waits about the alarm on
    channels that have not been told of it by one of them: how it ended, there, is no news either.
    """
    return connection.execute(
        """
        UPDATE outbox SET called_off_ms = ?1
        WHERE about = ?2 AND waits AND (
            kind IN (SELECT value FROM json_each(?3))
            OR channel NOT IN (
                SELECT channel FROM outbox WHERE about = ?2 AND delivered_ms IS NOT NULL
            )
        )
        RETURNING channel, idempotency_key
        """,
        (now_ms, alarm_id, json.dumps(list(calls))),
    ).fetchall()


def first(connection: sqlite3.Connection, channel: str) -> Waiting | None:
    """The channel's entry that is to be tried first, whether due yet or not."""
    row = connection.execute(
        """
        SELECT id, created_ms, next_attempt_ms, attempts, channel, idempotency_key, kind, body
        FROM outbox WHERE channel = ? AND waits
        ORDER BY next_attempt_ms, id LIMIT 1
        """,
        (channel,),
    ).fetchone()
    if row is None:
        return None
    entry_id, created_ms, next_attempt_ms, attempts, *notice = row
    return Waiting(entry_id, Notice(*notice), created_ms, next_attempt_ms, attempts)


def delivered(connection: sqlite3.Connection, entry_id: int, now_ms: int) -> None:
    """It arrived, be it that it was called off in the meantime."""
    connection.execute(
        """
        UPDATE outbox SET attempts = attempts + 1, delivered_ms = ?, called_off_ms = NULL,
            last_error = NULL
        WHERE id = ?
        """,
        (now_ms, entry_id),
    )


def postponed(
    connection: sqlite3.Connection, entry_id: int, error: str, next_attempt_ms: int
) -> None:
    """It did not arrive and is to be tried again."""
    connection.execute(
        """
        UPDATE outbox SET attempts = attempts + 1, last_error = ?, next_attempt_ms = ?
        WHERE id = ?
        """,
        (error, next_attempt_ms, entry_id),
    )


def given_up(connection: sqlite3.Connection, entry_id: int, error: str, now_ms: int) -> None:
    """It did not arrive and never will; one that was called off in the meantime need not."""
    connection.execute(
        """
        UPDATE outbox SET attempts = attempts + 1, last_error = ?, given_up_ms = ?
        WHERE id = ? AND called_off_ms IS NULL
        """,
        (error, now_ms, entry_id),
    )


def orphaned(connection: sqlite3.Connection, channels: Collection[str], now_ms: int) -> int:
    """Give up what waits for channels other than these; how many entries that were."""
    return connection.execute(
        """
        UPDATE outbox SET given_up_ms = ?, last_error = 'the channel is no longer set up'
        WHERE waits AND channel NOT IN (SELECT value FROM json_each(?))
        """,
        (now_ms, json.dumps(list(channels))),
    ).rowcount


def stats(connection: sqlite3.Connection) -> list[Stats]:
    """How each channel with anything undelivered does, by name."""
    rows = connection.execute(
        """
        SELECT channel,
            count(*) FILTER (WHERE waits),
            min(created_ms) FILTER (WHERE waits),
            count(given_up_ms),
            count(called_off_ms),
            (
                SELECT last_error FROM outbox AS latest
                WHERE latest.channel = outbox.channel AND delivered_ms IS NULL
                    AND called_off_ms IS NULL AND last_error IS NOT NULL
                ORDER BY id DESC LIMIT 1
            )
        FROM outbox WHERE delivered_ms IS NULL GROUP BY channel ORDER BY channel
        """
    )
    return [Stats(*row) for row in rows]


def forget(connection: sqlite3.Connection, before_ms: int) -> int:
    """Drop what was done with before ``before_ms``; how many entries that were.

    What is about an alarm that is still open stays, or it would be told again.
    """
    return connection.execute(
        """
        DELETE FROM outbox WHERE (delivered_ms < ?1 OR given_up_ms < ?1 OR called_off_ms < ?1)
            AND about NOT IN (SELECT id FROM alarm WHERE NOT closed)
        """,
        (before_ms,),
    ).rowcount
