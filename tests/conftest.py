"""Fixtures for all tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.daemon import RunningDaemon
from tests.support.servers import Mosquitto


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A real broker on a free port."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    broker = Mosquitto(folder).start()
    yield broker
    broker.stop()


@pytest.fixture
def daemon(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[RunningDaemon]:
    """A running daemon with one enclosure, as a process beside a real broker."""
    running = RunningDaemon(tmp_path, mosquitto.port).start()
    running.wait_ready()
    yield running
    running.close()
