"""Finds out why alarms were raised, in a thread of its own, and looks again while they stand.

A notification of a humidity alarm is held back for a few seconds so that it can carry the reason;
it leaves without one if this takes longer or fails.
"""

import json
import logging
import sqlite3
import threading
from collections.abc import Callable, Iterable
from queue import Empty, SimpleQueue

from monitor.alarms.model import Alarm, Condition
from monitor.alarms.records import load_alarm
from monitor.analysis.causes import Evidence, Side, explain
from monitor.analysis.causes.evidence import UTC
from monitor.analysis.causes.wire import wire
from monitor.jobs.histories import DAYS, history_of
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Room, RoomProbe
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms, explanations, journal, outbox, setup
from monitor.times import DAY_MS, MINUTE_MS

log = logging.getLogger(__name__)

REVISE_MS = 5 * MINUTE_MS
TURN_S = 5.0
NOT_AIR = "substrate"
LOW = (Condition.LOW, Condition.CRITICAL_LOW)


class Explainer:
    """Explains humidity alarms; ``told`` is called when a held notification may leave."""

    def __init__(
        self,
        database: Database,
        readings: ReadingStore,
        clock: Callable[[], int],
        told: Callable[[], None],
    ) -> None:
        self._database = database
        self._readings = readings
        self._clock = clock
        self._told = told
        self._raised: SimpleQueue[Alarm | None] = SimpleQueue()
        self._revised_ms = 0
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="explainer", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End after the alarm in hand."""
        self._stopping.set()
        self._raised.put(None)
        self._thread.join(5.0)

    def look(self, raised: Iterable[Alarm]) -> None:
        """Explain these alarms soon; from any thread."""
        for alarm in raised:
            if alarm.point.quantity is Quantity.HUMIDITY:
                self._raised.put(alarm)

    def explain(self, alarm: Alarm) -> None:
        """Explain one alarm as of its newest reading, write that down, let its notice leave."""
        found = self._find_out(alarm)
        with self._database.transaction() as connection:
            explanations.put(connection, alarm.id, self._clock(), json.dumps(found))
            outbox.complete(connection, alarm.id, found, self._clock())
        self._told()

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._turn()
            except Exception:
                log.exception("an alarm could not be explained")

    def _turn(self) -> None:
        try:
            alarm = self._raised.get(timeout=TURN_S)
        except Empty:
            alarm = None
        if alarm is not None:
            self.explain(alarm)
        if abs(self._clock() - self._revised_ms) >= REVISE_MS:
            self._revised_ms = self._clock()
            self._revise()

    def _revise(self) -> None:
        """Look again at what stands, and at what an earlier run left unexplained."""
        with self._database.reading() as connection:
            rows = alarms.still_open(connection)
            explained = explanations.of(connection, [row.id for row in rows])
        found = [load_alarm(row.body) for row in rows]
        self.look(alarm for alarm in found if alarm.standing or alarm.id not in explained)

    def _find_out(self, alarm: Alarm) -> dict[str, object]:
        point = alarm.point
        with self._database.reading() as connection:
            place = setup.get(connection, point.place).place
            room = _room_of(connection, place)
            target = next(probe for probe in place.probe if probe.id == point.probe)
            now_ms = self._as_of(alarm, target.id)
            misted = journal.page(
                connection, point.place, kinds=["misted"], since_ms=now_ms - DAYS * DAY_MS
            )
        history = history_of(self._readings, point.place, target, now_ms)
        cause = explain(
            Evidence(
                target=history,
                since_ms=min(alarm.since_ms, now_ms),
                now_ms=now_ms,
                limit=alarm.limit or 0.0,
                side=Side.LOW if point.condition in LOW else Side.HIGH,
                others=tuple(
                    history_of(self._readings, point.place, probe, now_ms)
                    for probe in place.probe
                    if probe.id != target.id and probe.zone != NOT_AIR
                ),
                room=room and history_of(self._readings, *room, now_ms),
                clock=place.zone_info if isinstance(place, Enclosure) else UTC,
                misted_ms=tuple(row.entry.at_ms for row in misted) or None,
            )
        )
        return {"cause": wire(cause)}

    def _as_of(self, alarm: Alarm, probe: str) -> int:
        """The newest reading's time while the alarm stands; else when it was raised."""
        series = self._readings.known_series().get(
            SeriesKey(alarm.point.place, probe, Quantity.HUMIDITY), -1
        )
        newest = self._readings.latest().get(series)
        if newest is None or not alarm.standing:
            return alarm.raised_at_ms
        return max(newest.at_ms, alarm.raised_at_ms)


def _room_of(
    connection: sqlite3.Connection, place: Room | Enclosure
) -> tuple[str, RoomProbe] | None:
    """The room an enclosure stands in, and its first probe."""
    if isinstance(place, Room) or place.room is None:
        return None
    room = setup.get(connection, place.room).place
    return (room.id, room.probe[0]) if isinstance(room, Room) and room.probe else None
