"""Why alarms were raised: one document for each alarm, in place of the one before."""

import json
import sqlite3
from collections.abc import Collection


def put(connection: sqlite3.Connection, alarm_id: str, at_ms: int, body: str) -> None:
    """Keep what is known of an alarm's cause as of ``at_ms``."""
    connection.execute(
        """
        INSERT INTO explanation (alarm, at_ms, body) VALUES (?, ?, ?)
        ON CONFLICT (alarm) DO UPDATE SET at_ms = excluded.at_ms, body = excluded.body
        """,
        (alarm_id, at_ms, body),
    )


def of(connection: sqlite3.Connection, alarm_ids: Collection[str]) -> dict[str, str]:
    """The documents of those alarms that have one, by alarm id."""
    rows = connection.execute(
        "SELECT alarm, body FROM explanation WHERE alarm IN (SELECT value FROM json_each(?))",
        (json.dumps(list(alarm_ids)),),
    )
    return {str(alarm): str(body) for alarm, body in rows}
