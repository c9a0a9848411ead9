"""``dewkeep copy``."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from monitor.quantities import Quantity
from monitor.setup.settings import load_settings
from monitor.store.engines import opened
from monitor.store.readings import SeriesKey, Track
from monitor.store.sqlite.database import Database
from monitor.times import parse_rfc3339
from tests.cli.conftest import CommandLine
from tests.support.engines import Influx, TimeSeriesServer, Victoria

START_MS = parse_rfc3339("2026-06-01T00:00:00Z")
KEY = SeriesKey("cork-cube", "canopy", Quantity.TEMPERATURE)


@pytest.fixture(params=[Influx, Victoria], ids=["influx", "victoria"])
def server(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[TimeSeriesServer]:
    """Where readings move to."""
    started: TimeSeriesServer = request.param(tmp_path / "server").start()
    started.create("dewkeep")
    yield started
    started.close()


def kept(config: Path) -> Track:
    """What the engine of a settings file has of June."""
    settings = load_settings(config, {})
    with (
        closing(Database(settings.store.path)) as database,
        opened(settings.store, database) as readings,
    ):
        return readings.track(KEY, START_MS, START_MS + 30 * 86_400_000)


@pytest.mark.slow
def test_readings_move_from_engine_to_engine_and_back(
    cli: CommandLine, server: TimeSeriesServer
) -> None:
    """There, again, and back into an empty file: always the same readings, reasons too."""
    rows = [
        f"{START_MS // 1000 + 30 * n},{999 if n == 500 else 20 + n % 100 / 100},{70 - n % 30}"
        for n in range(3000)
    ]
    log = cli.write("old.csv", "\n".join(["time,temperature,humidity", *rows]))
    cli.ok("import", log, "--probe", "cork-cube/canopy")
    there = cli.write("there.toml", f'[store]\nengine = "{server.engine}"\nurl = "{server.url}"\n')
    back = cli.write("back.toml", '[store]\npath = "other.db"\n')

    said = [cli.ok("copy", "--to", there) for _ in range(2)]
    server.show()
    cli.run("copy", "--config", there, "--to", back)

    assert [text.splitlines()[-1] for text in said] == [
        f"6000 readings of 2 series are in {server.engine}"
    ] * 2
    before = kept(cli.config)
    assert (before.reason == 16).sum() == 1
    for config in (there, back):
        after = kept(config)
        assert after.at_ms.tolist() == before.at_ms.tolist()
        assert after.value.tolist() == before.value.tolist()
        assert after.reason.tolist() == before.reason.tolist()
