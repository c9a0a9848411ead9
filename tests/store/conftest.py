"""One suite for every engine: a test that asks for ``probe`` or ``engine`` runs on each of ENGINES.

A new engine adds its name to ENGINES and a fixture ``NAME_engine`` that gives an ``Engine``.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor.store.sqlite import readings
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from tests.store.engines import START_MS, Engine, Probe

ENGINES = ("sqlite", "hasty_sqlite")


@pytest.fixture(params=ENGINES)
def engine(request: pytest.FixtureRequest) -> Engine:
    """Each engine in turn."""
    chosen: Engine = request.getfixturevalue(f"{request.param}_engine")
    return chosen


@pytest.fixture
def probe(engine: Engine) -> Probe:
    """A probe without readings."""
    return Probe(engine)


@pytest.fixture
def new_probe(engine: Engine) -> Callable[[], Probe]:
    """Makes probes without readings, for tests that need several or run many examples."""
    return lambda: Probe(engine)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """A new SQLite file."""
    database = Database(tmp_path / "dewkeep.db")
    yield database
    database.close()


@pytest.fixture
def sqlite_store(database: Database) -> SqliteReadings:
    """The embedded engine on a new file."""
    return SqliteReadings(database)


@pytest.fixture
def sqlite_engine(sqlite_store: SqliteReadings) -> Engine:
    """The embedded engine; what it has committed can be read at once."""
    return Engine(sqlite_store)


@pytest.fixture
def hasty_sqlite_engine(sqlite_store: SqliteReadings, monkeypatch: pytest.MonkeyPatch) -> Engine:
    """The same, made to tidy all the time and a series at a time: nothing of that may show."""
    monkeypatch.setattr(readings, "LOG_READINGS", 8)
    monkeypatch.setattr(readings, "LOG_ROWS", 2)
    monkeypatch.setattr(readings, "SERIES_AT_ONCE", 1)
    return Engine(sqlite_store, settle=lambda: sqlite_store.tidy(START_MS))


@pytest.fixture
def new_store(tmp_path: Path) -> Iterator[Callable[[], SqliteReadings]]:
    """Opens the file once more, as another process would."""
    opened: list[Database] = []

    def new() -> SqliteReadings:
        opened.append(Database(tmp_path / "dewkeep.db"))
        return SqliteReadings(opened[-1])

    yield new
    for database in opened:
        database.close()
