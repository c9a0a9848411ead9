"""The broker inside the daemon: for trying out and for one shelf."""

import socket
import time
from collections.abc import Callable

import pytest

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import free_port
from tests.support.waiting import eventually

TOPIC = "dewkeep/cork-cube/canopy"
EMBEDDED = {"DEWKEEP_BROKER__EMBEDDED": "true"}


@pytest.mark.slow
def test_a_reading_comes_in_without_any_other_program(
    new_daemon: Callable[..., RunningDaemon],
) -> None:
    """Published to the daemon itself, read at its API; a restart takes the next one."""
    port = free_port()
    daemon = new_daemon(port).start(**EMBEDDED)

    def newest() -> object:
        (probe,) = daemon.get("/enclosures/cork-cube/climate")["probes"]
        return probe.get("temperature", {}).get("value")

    for temperature in (22.5, 23.5):
        daemon.wait_ready()
        with Publisher(port) as probe:
            probe.send(TOPIC, senml(time.time(), temperature, 70.0))
            eventually(lambda: newest() == temperature, "the reading")  # noqa: B023 - used at once
        assert daemon.stop() == 0
        assert "Traceback" not in daemon.log.read_text()
        daemon.start(**EMBEDDED)


@pytest.mark.slow
def test_a_port_in_use_is_told(new_daemon: Callable[..., RunningDaemon]) -> None:
    """By its key, like every other setting."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        says = new_daemon(port).refused(**EMBEDDED)

    assert f"settings: broker.embedded: cannot run a broker on 127.0.0.1:{port}: " in says
    assert "address already in use" in says
    assert "Traceback" not in says
