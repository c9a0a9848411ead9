"""Servers of a test's own, with weather in between."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from monitor.setup.settings import StoreSettings
from monitor.store.engines import opened
from monitor.store.readings import ReadingStore
from monitor.store.remote import server as way
from monitor.store.sqlite.database import Database
from tests.support.engines import Influx, TimeSeriesServer, Victoria
from tests.support.weather import Weather

Opener = Callable[[], ReadingStore]


@pytest.fixture(params=[Influx, Victoria], ids=["influx", "victoria"])
def server(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[TimeSeriesServer]:
    """A server that a test may kill."""
    started: TimeSeriesServer = request.param(tmp_path / "server").start()
    started.create("dewkeep")
    yield started
    started.close()


@pytest.fixture
def weather(server: TimeSeriesServer) -> Iterator[Weather]:
    """What lies between the store and the server."""
    between = Weather(server.url)
    yield between
    between.close()


@pytest.fixture
def open_store(
    server: TimeSeriesServer,
    weather: Weather,
    database: Database,
    monkeypatch: pytest.MonkeyPatch,
) -> Iterator[Opener]:
    """Opens the store as a start of the daemon does."""
    monkeypatch.setattr(way, "WRITE_TIMEOUT_S", 0.5)
    settings = StoreSettings(engine=server.engine, url=weather.url)
    with ExitStack() as stack:
        yield lambda: stack.enter_context(opened(settings, database))
