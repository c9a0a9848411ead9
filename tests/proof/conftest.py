"""A daemon as a process beside a real broker."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.daemon import RunningDaemon
from tests.support.servers import Mosquitto


@pytest.fixture
def daemon(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[RunningDaemon]:
    """A running daemon with one enclosure."""
    running = RunningDaemon(tmp_path, mosquitto.port).start()
    running.wait_ready()
    yield running
    running.close()
