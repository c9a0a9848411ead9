"""Time-series servers for proofs of the whole program."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.engines import Influx, TimeSeriesServer, Victoria


@pytest.fixture(params=[Influx, Victoria], ids=["influx", "victoria"])
def server(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[TimeSeriesServer]:
    """A server of each kind, which may be killed."""
    started: TimeSeriesServer = request.param(tmp_path / "server").start()
    started.create("dewkeep")
    yield started
    started.close()
