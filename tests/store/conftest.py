"""One suite for every engine: a test that asks for ``probe`` or ``engine`` runs on each of ENGINES.

A new engine adds its name to ENGINES and a fixture ``NAME_engine`` that gives an ``Engine``.
"""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from monitor.setup.settings import StoreSettings
from monitor.store.engines import opened
from monitor.store.sqlite import readings
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from tests.store.engines import START_MS, Engine, Probe
from tests.support.engines import Influx, TimeSeriesServer, Victoria

ENGINES = (
    "sqlite",
    "hasty_sqlite",
    pytest.param("influx", marks=pytest.mark.slow),
    pytest.param("victoria", marks=pytest.mark.slow),
)


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


@pytest.fixture(scope="session")
def influx(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influx]:
    """A real InfluxDB, shared: every test has series, or a bucket, of its own."""
    server = Influx(tmp_path_factory.mktemp("influx")).start()
    yield server
    server.close()


@pytest.fixture(scope="session")
def victoria(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Victoria]:
    """A real VictoriaMetrics, shared: every test has series of its own."""
    server = Victoria(tmp_path_factory.mktemp("victoria")).start()
    yield server
    server.close()


def _on_server(server: TimeSeriesServer, database: Database) -> Iterator[Engine]:
    server.create("dewkeep")
    settings = StoreSettings(engine=server.engine, url=server.url)
    with opened(settings, database) as store:

        def settle() -> None:
            store.flush()
            server.show()

        yield Engine(store, settle)


@pytest.fixture
def influx_engine(influx: Influx, database: Database) -> Iterator[Engine]:
    """InfluxDB; what it has accepted can be read at once."""
    yield from _on_server(influx, database)


@pytest.fixture
def victoria_engine(victoria: Victoria, database: Database) -> Iterator[Engine]:
    """VictoriaMetrics, told to show at once what it has accepted."""
    yield from _on_server(victoria, database)


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
