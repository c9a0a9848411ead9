"""Which engine keeps the readings: opens the one that the settings name."""

from collections.abc import Iterator
from contextlib import contextmanager

from monitor.setup.account import secret_of
from monitor.setup.settings import StoreSettings
from monitor.store.influx.engine import InfluxEngine
from monitor.store.readings import ReadingStore
from monitor.store.remote.engine import Engine
from monitor.store.remote.readings import RemoteReadings
from monitor.store.remote.server import Server
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.victoria.engine import VictoriaEngine


@contextmanager
def opened(settings: StoreSettings, database: Database) -> Iterator[ReadingStore]:
    """The store for readings, while the block lasts.

    Raises:
        SettingsError: the file with the token cannot be read.
    """
    if settings.engine == "sqlite" or settings.url is None:
        yield SqliteReadings(database)
        return
    server = Server(
        settings.url,
        org=settings.org,
        bucket=settings.bucket,
        token=secret_of(settings.token, settings.token_file),
    )
    engine: Engine = (
        InfluxEngine(server, settings.bucket)
        if settings.engine == "influxdb"
        else VictoriaEngine(server)
    )
    try:
        yield RemoteReadings(database, engine)
    finally:
        engine.close()
