"""The demo's story, run through dewkeep's own pipeline."""

import datetime as dt
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from monitor.alarms.model import Alarm, PointKey, State
from monitor.demo.history import fill_in, simulator_of
from monitor.demo.run import _places
from monitor.ingest.filing import alarm_of
from monitor.quantities import Quantity
from monitor.setup.settings import Settings
from monitor.simulation.demo_room import CLOCK, BackRoom, back_room
from monitor.store.readings import SeriesKey, Track
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import alarms, journal, setup
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS

MORNING_MS = round(dt.datetime(2026, 11, 20, 10, tzinfo=CLOCK).timestamp() * 1000)
HUMIDITY = SeriesKey("cork-cube", "canopy", Quantity.HUMIDITY)


def lived(database: Database, now_ms: int, days: float) -> BackRoom:
    """The history that is there when the demo is opened at ``now_ms``."""
    room = back_room(now_ms, days)
    settings = Settings.model_validate({"store": {"path": database.path}})
    fill_in(settings, database, simulator_of(room), room, _places(room), lambda _ms: None)
    return room


def raised(database: Database) -> list[Alarm]:
    """All alarms, oldest first."""
    with database.reading() as connection:
        rows = alarms.page(connection, limit=1_000)
    return [alarm_of(row) for row in reversed(rows)]


def written(database: Database, place: str) -> list[journal.JournalRow]:
    """The journal of an enclosure, oldest first."""
    with database.reading() as connection:
        return list(reversed(journal.page(connection, place, limit=1_000)))


def longest_gap(track: Track) -> int:
    """The longest time between two readings, ms."""
    return int(np.diff(track.at_ms).max())


@pytest.mark.slow
def test_a_calm_month_and_a_bad_night(tmp_path: Path) -> None:
    """What stands out is the failed mister; a new build may be too damp in its first hour."""
    database = Database(tmp_path / "demo.db")
    room = lived(database, MORNING_MS, days=30)
    before = [alarm for alarm in raised(database) if alarm.raised_at_ms < room.failed_ms]
    after = [alarm for alarm in raised(database) if alarm.raised_at_ms >= room.failed_ms]
    with database.reading() as connection:
        changes = setup.history(connection)
    database.close()

    assert {alarm.point.place for alarm in before} <= {"slate-tray", "fern-drawer"}
    assert len(before) <= 2
    assert {(alarm.point.place, alarm.point.quantity) for alarm in after} == {
        ("cork-cube", Quantity.HUMIDITY)
    }
    first = after[0]
    assert (first.point.probe, first.point.condition) == ("canopy", "low")
    assert first.state is State.RETURNED
    assert room.failed_ms + HOUR_MS < first.raised_at_ms < room.failed_ms + 4 * HOUR_MS
    set_up = {
        change.id: dt.datetime.fromtimestamp(change.at_ms / 1000, CLOCK) for change in changes
    }
    assert {place: set_up[place].date() for place in room.built_on} == room.built_on


@pytest.mark.slow
def test_a_day_of_history(tmp_path: Path) -> None:
    """Readings without a gap, mistings and looks in the journal, the alarm of the night."""
    database = Database(tmp_path / "demo.db")
    room = lived(database, MORNING_MS, days=1)
    track = SqliteReadings(database).track(HUMIDITY, 0, MORNING_MS + 1)
    mistings = [row for row in written(database, "cork-cube") if row.entry.kind == "misted"]
    looks = [row for row in written(database, "fern-drawer") if row.entry.kind == "inspection"]
    points = {alarm.point for alarm in raised(database)}
    database.close()

    assert len(track) == pytest.approx(2880, abs=5)
    assert longest_gap(track) < 2 * MINUTE_MS
    assert set(track.reason.tolist()) == {0}
    assert room.failed_ms - 2 * MINUTE_MS < mistings[-1].entry.at_ms < room.failed_ms
    assert len(looks) >= 5
    assert PointKey.parse("cork-cube.canopy.humidity.low") in points


@pytest.mark.slow
def test_opened_again_it_goes_on(tmp_path: Path) -> None:
    """Nothing is there twice, and what the visitor changed stays."""
    database = Database(tmp_path / "demo.db")
    lived(database, MORNING_MS, days=0.25)
    with database.transaction() as connection:
        cube = setup.get(connection, "cork-cube").place.model_copy(update={"name": "My cube"})
        setup.put(connection, cube, who="visitor", now_ms=MORNING_MS)
    lived(database, MORNING_MS + DAY_MS // 4, days=1)
    track = SqliteReadings(database).track(HUMIDITY, 0, MORNING_MS + DAY_MS)
    counts = Counter(
        (row.place, row.entry.at_ms, row.entry.kind)
        for place in ("cork-cube", "fern-drawer", "slate-tray")
        for row in written(database, place)
    )
    with database.reading() as connection:
        name = setup.get(connection, "cork-cube").place.name
    database.close()

    assert len(track) == pytest.approx(1440, abs=5)
    assert longest_gap(track) < 2 * MINUTE_MS
    assert set(counts.values()) == {1}
    assert name == "My cube"
