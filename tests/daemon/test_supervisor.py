"""What systemd is told, over a socket of its kind."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.daemon.supervisor import Supervisor, Watchdog
from tests.support.daemon import RunningDaemon
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually


@pytest.fixture
def listening(tmp_path: Path) -> Iterator[socket.socket]:
    """The end that systemd would hold."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.bind(str(tmp_path / "notify"))
        line.settimeout(20)
        yield line


def told_of(listening: socket.socket) -> str:
    """The next state that arrives."""
    return listening.recv(100).decode()


def test_states_arrive_as_they_are(listening: socket.socket) -> None:
    """One datagram for each."""
    supervisor = Supervisor({"NOTIFY_SOCKET": listening.getsockname()})
    supervisor.tell("READY=1")
    supervisor.tell("STOPPING=1")

    assert [told_of(listening), told_of(listening)] == ["READY=1", "STOPPING=1"]


def test_an_abstract_address() -> None:
    """A leading @ stands for the zero byte that such an address begins with."""
    name = f"dewkeep-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        try:
            line.bind(f"\0{name}")
        except OSError:
            pytest.skip("this system has no abstract addresses")
        line.settimeout(20)
        Supervisor({"NOTIFY_SOCKET": f"@{name}"}).tell("READY=1")

        assert told_of(line) == "READY=1"


@pytest.mark.parametrize("environ", [{}, {"NOTIFY_SOCKET": "/nowhere/at/all"}])
def test_nobody_who_listens_is_no_harm(environ: dict[str, str]) -> None:
    """Started by hand, or told the address of nothing."""
    Supervisor(environ).tell("READY=1")


def test_the_watchdog_of_another_process_is_not_ours() -> None:
    """WATCHDOG_PID says whom the limit is for."""
    limits = {"WATCHDOG_USEC": "60000000"}

    assert Supervisor(limits).watchdog_s == 60
    assert Supervisor(limits | {"WATCHDOG_PID": str(os.getpid())}).watchdog_s == 60
    assert Supervisor(limits | {"WATCHDOG_PID": "1"}).watchdog_s == 0


def test_the_watchdog_is_fed_while_all_is_alive_and_no_longer(listening: socket.socket) -> None:
    """It stops with the first look that finds no life."""
    looks: list[bool] = [True, True, False]
    environ = {"NOTIFY_SOCKET": listening.getsockname(), "WATCHDOG_USEC": "30000"}

    def alive() -> bool:
        return looks.pop(0) if looks else False

    watchdog = Watchdog(Supervisor(environ), alive)
    watchdog.start()
    eventually(lambda: not looks, "three looks")
    watchdog.stop()
    Supervisor(environ).tell("end")

    assert [told_of(listening) for _ in range(3)] == ["WATCHDOG=1", "WATCHDOG=1", "end"]


def test_a_daemon_tells_its_way(
    tmp_path: Path, mosquitto: Mosquitto, listening: socket.socket
) -> None:
    """Ready when it is up, alive while it runs, stopping when it is asked to."""
    daemon = RunningDaemon(tmp_path, mosquitto.port)
    daemon.start(NOTIFY_SOCKET=listening.getsockname(), WATCHDOG_USEC="300000")
    told = [told_of(listening)]
    while told[-2:] != ["READY=1", "WATCHDOG=1"]:
        told.append(told_of(listening))
    daemon.close()
    while told[-1] != "STOPPING=1":
        told.append(told_of(listening))

    assert set(told) == {"READY=1", "WATCHDOG=1", "STOPPING=1"}
    assert told.count("READY=1") == 1
