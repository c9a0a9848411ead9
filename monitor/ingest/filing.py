"""The alarm desk's papers, put into the store and taken out of it.

The desk works on alarms and memories, the store keeps rows with text; here they meet.
"""

import sqlite3

from monitor.alarms.desk import Changes
from monitor.alarms.detection import PointMemory
from monitor.alarms.model import Alarm, PointKey
from monitor.alarms.records import (
    dump_alarm,
    dump_memory,
    dump_suppression,
    load_alarm,
    load_memory,
    load_suppression,
)
from monitor.alarms.suppression import Suppression
from monitor.setup.alarming import CHATTERING_MS
from monitor.store.rows import AlarmRow, PointRow, SuppressionRow
from monitor.store.sqlite.state import alarms


def file(connection: sqlite3.Connection, changes: Changes) -> None:
    """Keep what a step of the desk changed, in the caller's transaction."""
    alarms.put(connection, map(alarm_row, changes.alarms))
    alarms.put_points(
        connection,
        (
            PointRow(str(point), dump_memory(memory))
            for point, memory in changes.points
            if memory is not None
        ),
    )
    alarms.forget_points(
        connection, (str(point) for point, memory in changes.points if memory is None)
    )
    alarms.put_suppressions(
        connection,
        (
            SuppressionRow(key, each.place, dump_suppression(each))
            for key, each in changes.suppressions
            if each is not None
        ),
    )
    alarms.forget_suppressions(
        connection, (key for key, each in changes.suppressions if each is None)
    )


def open_alarms(connection: sqlite3.Connection) -> list[Alarm]:
    """The alarms that are not over, for a desk to go on with."""
    return [alarm_of(row) for row in alarms.still_open(connection)]


def lately_closed(connection: sqlite3.Connection, now_ms: int) -> list[Alarm]:
    """The alarms that are over of the time in which a desk looks for chattering and floods."""
    return [alarm_of(row) for row in alarms.closed_since(connection, now_ms - CHATTERING_MS)]


def suppressions(connection: sqlite3.Connection, place: str | None = None) -> list[Suppression]:
    """What keeps alarms quiet, of one place or of all."""
    return [load_suppression(row.body) for row in alarms.suppressions(connection, place)]


def memories(connection: sqlite3.Connection) -> dict[PointKey, PointMemory]:
    """What all points remember, for a desk to go on with."""
    return {PointKey.parse(row.key): load_memory(row.body) for row in alarms.points(connection)}


def alarm_row(alarm: Alarm) -> AlarmRow:
    """An alarm as the store keeps it."""
    return AlarmRow(
        alarm.id,
        alarm.point.place,
        alarm.state.value,
        alarm.raised_at_ms,
        alarm.over,
        dump_alarm(alarm),
    )


def alarm_of(row: AlarmRow) -> Alarm:
    """The alarm that a row keeps."""
    return load_alarm(row.body)
