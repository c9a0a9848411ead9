"""A back-up is whole whatever happens meanwhile, and finds its way back."""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from monitor.errors import Conflict, StoreError
from monitor.quantities import Quantity
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.backup import back_up, restore
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.times import HOUR_MS

KEY = SeriesKey("cork-cube", "canopy", Quantity.TEMPERATURE)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """An open database."""
    with closing(Database(tmp_path / "dewkeep.db")) as opened:
        yield opened


def append(readings: SqliteReadings, first: int, count: int) -> None:
    """Readings one second apart."""
    (series,) = readings.series_ids([KEY])
    at_ms = 1000 * np.arange(first, first + count)
    readings.append(
        Readings(np.full(count, series), at_ms, at_ms / 1000.0, np.zeros(count, np.uint8))
    )


def seconds_of(path: Path) -> list[float]:
    """What a database file holds."""
    with closing(Database(path)) as database:
        values: list[float] = SqliteReadings(database).track(KEY, 0, HOUR_MS).value.tolist()
        return values


def test_a_back_up_is_one_moment(database: Database, tmp_path: Path) -> None:
    """Taken while another thread writes, it holds everything up to some commit, without gaps."""
    readings = SqliteReadings(database)
    append(readings, 0, 100)
    enough = threading.Event()

    def write() -> None:
        for batch in range(1, 30):
            append(readings, 100 * batch, 100)
        enough.set()

    writer = threading.Thread(target=write)
    writer.start()
    back_up(database, tmp_path / "copy.db")
    writer.join(20)

    kept = seconds_of(tmp_path / "copy.db")
    assert enough.is_set()
    assert len(kept) >= 100
    assert len(kept) % 100 == 0
    assert kept == [float(second) for second in range(len(kept))]


def test_a_back_up_replaces_nothing(database: Database, tmp_path: Path) -> None:
    """An older back-up is not overwritten, and a failed one leaves nothing behind."""
    (tmp_path / "copy.db").write_text("older")

    with pytest.raises(Conflict, match="exists already"):
        back_up(database, tmp_path / "copy.db")
    with pytest.raises(StoreError):
        back_up(database, tmp_path / "nowhere" / "copy.db")

    assert (tmp_path / "copy.db").read_text() == "older"
    assert not list(tmp_path.glob("*.unfinished"))


def test_restored_is_what_was_backed_up(database: Database, tmp_path: Path) -> None:
    """What came after the back-up is in the file that was moved aside."""
    readings = SqliteReadings(database)
    append(readings, 0, 10)
    back_up(database, tmp_path / "copy.db")
    append(readings, 10, 5)
    with pytest.raises(Conflict, match="stop dewkeep first"):
        restore(tmp_path / "copy.db", database.path)
    database.close()

    aside = restore(tmp_path / "copy.db", database.path)

    assert len(seconds_of(database.path)) == 10
    assert aside is not None
    assert len(seconds_of(aside)) == 15
    assert restore(tmp_path / "copy.db", tmp_path / "new.db") is None


def test_what_is_no_back_up_is_refused(database: Database, tmp_path: Path) -> None:
    """Each time the database in use stays as it is."""
    database.close()
    (tmp_path / "text.db").write_bytes(b"words " * 1000)
    with closing(sqlite3.connect(tmp_path / "other.db")) as other:
        other.execute("CREATE TABLE t (x)")
        other.commit()
    before = database.path.read_bytes()

    for name, says in (("text", "no database"), ("other", "no dewkeep"), ("none", "no such file")):
        with pytest.raises(StoreError, match=says):
            restore(tmp_path / f"{name}.db", database.path)

    assert database.path.read_bytes() == before


def test_a_damaged_database_can_be_replaced(database: Database, tmp_path: Path) -> None:
    """The reason back-ups are for: the damaged file is kept aside."""
    append(SqliteReadings(database), 0, 10)
    back_up(database, tmp_path / "copy.db")
    database.close()
    database.path.write_bytes(b"\0" * 5000)

    aside = restore(tmp_path / "copy.db", database.path)

    assert len(seconds_of(database.path)) == 10
    assert aside is not None
    assert aside.read_bytes() == b"\0" * 5000
