"""Fixtures for all tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.servers import Mosquitto


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A real broker on a free port."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    broker = Mosquitto(folder).start()
    yield broker
    broker.stop()
