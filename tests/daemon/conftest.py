"""A daemon as a process, started and stopped in many ways."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.support.daemon import RunningDaemon
from tests.support.servers import free_port


@pytest.fixture
def new_daemon(tmp_path: Path) -> Iterator[Callable[..., RunningDaemon]]:
    """Prepares a daemon, not started yet; without a broker's port there is no broker."""
    daemons: list[RunningDaemon] = []

    def make(mqtt_port: int | None = None, more: str = "") -> RunningDaemon:
        daemons.append(RunningDaemon(tmp_path, mqtt_port or free_port(), more=more))
        return daemons[-1]

    yield make
    for daemon in daemons:
        daemon.close()
