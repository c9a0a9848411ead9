"""Fixtures for all tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.support.daemon import RunningDaemon
from tests.support.servers import Mosquitto

# How fast examples come says more about the machine's other work than about the test.
settings.register_profile("dewkeep", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("dewkeep")


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
