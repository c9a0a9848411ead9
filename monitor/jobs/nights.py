"""Nights looked up in the store: of one enclosure, or of all for the morning's report."""

import datetime as dt
import sqlite3
from collections.abc import Callable
from zoneinfo import ZoneInfo

import numpy as np

from monitor.alarms.model import Alarm, Condition, State
from monitor.alarms.records import load_alarm
from monitor.alarms.wording import says
from monitor.analysis.morning import Morning, morning
from monitor.analysis.night import (
    LOOK_BACK_MS,
    Misting,
    NightReport,
    SeenAlarm,
    Told,
    night_report,
)
from monitor.errors import NotFound
from monitor.quantities import MEASURED
from monitor.setup.journal import Misted
from monitor.setup.models import Enclosure, Probe
from monitor.setup.nights import Night, last_night, night_of
from monitor.setup.ranges import ranges_in_force
from monitor.species.library import Library
from monitor.species.ranges import Spans, ZoneRange
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms, journal, setup
from monitor.times import HOUR_MS

BEFORE_MS = 2 * HOUR_MS
"""Read before the night, and at least the time after which a probe is silent."""
ALL = 100_000
"""More than there are alarms or mistings in a week."""
_QUIET = (State.SHELVED, State.SUPPRESSED)


class Nights:
    """Reports on nights; reads only, from any thread.

    ``ours`` says which enclosures belong into a morning report.
    """

    def __init__(
        self,
        database: Database,
        readings: ReadingStore,
        library: Library,
        ours: Callable[[str], bool] = lambda _place: True,
    ) -> None:
        self._ours = ours
        self._database = database
        self._readings = readings
        self._library = library

    def night(self, enclosure_id: str, date: dt.date | None, now_ms: int) -> NightReport:
        """The night of an enclosure that ended on a day, as of its end; without one the last, now.

        Raises:
            NotFound: no such enclosure, or that night has not begun.
        """
        with self._database.reading() as connection:
            place = setup.get(connection, enclosure_id).place
        if not isinstance(place, Enclosure):
            raise NotFound(f"{enclosure_id!r} is a room; ask for an enclosure in it")
        if date is None:
            return self._report(place, last_night(place, now_ms), now_ms)
        night = night_of(place, date)
        if night.start_ms >= now_ms:
            raise NotFound(f"the night of {enclosure_id!r} to {date} has not begun")
        return self._report(place, night, min(night.end_ms, now_ms))

    def morning(self, now_ms: int, zone: ZoneInfo) -> Morning:
        """The last night of every enclosure; the report's day is that of ``zone``."""
        with self._database.reading() as connection:
            enclosures = setup.everything(connection).only(self._ours).enclosure
        reports = [self._report(each, last_night(each, now_ms), now_ms) for each in enclosures]
        return morning(reports, dt.datetime.fromtimestamp(now_ms / 1000, zone).date())

    def _report(self, enclosure: Enclosure, night: Night, as_of_ms: int) -> NightReport:
        ranges = ranges_in_force(enclosure, self._library, night.date)
        told = [
            self._told(enclosure, probe, ranges.get(probe.zone, ZoneRange()).night, night, as_of_ms)
            for probe in enclosure.probe
        ]
        with self._database.reading() as connection:
            seen = _alarms(connection, enclosure, night, as_of_ms)
            mistings = _mistings(connection, enclosure.id, night)
        return night_report(enclosure, night, told, seen, mistings, as_of_ms)

    def _told(
        self, enclosure: Enclosure, probe: Probe, spans: Spans, night: Night, as_of_ms: int
    ) -> Told:
        begin_ms = night.start_ms - max(BEFORE_MS, probe.silence_ms)
        known = self._readings.known_series()
        tracks = {
            quantity: self._readings.track(key, begin_ms, as_of_ms + 1)
            for quantity in MEASURED
            if (key := SeriesKey(enclosure.id, probe.id, quantity)) in known
        }
        heard = [track.at_ms for track in tracks.values()]
        heard_ms = np.unique(np.concatenate([np.empty(0, np.int64), *heard]))
        return Told(probe, spans, tracks, heard_ms)


def _alarms(
    connection: sqlite3.Connection, enclosure: Enclosure, night: Night, as_of_ms: int
) -> list[SeenAlarm]:
    """Those raised in the night, and those that stood as of then, oldest first."""
    rows = alarms.page(
        connection, place=enclosure.id, since_ms=night.start_ms, until_ms=as_of_ms + 1, limit=ALL
    )
    older = [
        row
        for row in alarms.still_open(connection)
        if row.place == enclosure.id and row.raised_at_ms < night.start_ms
    ]
    found = (load_alarm(row.body) for row in reversed([*rows, *older]))
    return [
        SeenAlarm(
            id=alarm.id,
            priority=alarm.priority.value,
            raised_at_ms=alarm.raised_at_ms,
            standing=standing,
            quiet=alarm.state in _QUIET,
            of_silence=alarm.point.condition is Condition.SILENT,
            says=says(alarm, enclosure.zone_info, as_of_ms),
        )
        for alarm in found
        if (standing := _stood(alarm, as_of_ms))
        or night.start_ms <= alarm.raised_at_ms < night.end_ms
    ]


def _stood(alarm: Alarm, at_ms: int) -> bool:
    over_ms = alarm.returned_at_ms or alarm.withdrawn_at_ms
    return over_ms is None or over_ms > at_ms


def _mistings(connection: sqlite3.Connection, place: str, night: Night) -> list[Misting]:
    rows = journal.page(
        connection,
        place,
        kinds=["misted"],
        since_ms=night.start_ms - LOOK_BACK_MS,
        until_ms=night.end_ms,
        limit=ALL,
    )
    entries = (row.entry for row in reversed(rows))
    return [Misting(each.at_ms, each.seconds) for each in entries if isinstance(each, Misted)]
