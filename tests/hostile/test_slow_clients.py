"""Clients of the web server that drip, hang and flood, against the daemon as a keeper runs it."""

import contextlib
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import httpx
import psutil
import pytest

from monitor.daemon.web_server import MOST_CONNECTIONS
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

HEAD = b"GET / HTTP/1.1\r\nHost: localhost\r\n"
MOST_GROWTH_MB = 64


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    """For the readings that go on."""
    built = Mosquitto(tmp_path).start()
    yield built
    built.stop()


@pytest.fixture
def daemon(tmp_path: Path, broker: Mosquitto) -> Iterator[RunningDaemon]:
    """As a keeper runs it."""
    built = RunningDaemon(tmp_path, broker.port).start()
    built.wait_ready()
    yield built
    built.close()


@contextmanager
def besieged(port: int, clients: int, drop: bytes, every_s: float) -> Iterator[list[int]]:
    """So many clients begin a request and send a drop of it now and then; those sent away return.

    Gives how often one of them has come back, in a list of one.
    """
    over = threading.Event()
    returns = [0]

    def besiege() -> None:
        with ExitStack() as stack:
            open_ones: list[socket.socket] = []
            while not over.wait(every_s):
                while len(open_ones) < clients:
                    try:
                        one = socket.create_connection(("127.0.0.1", port), timeout=5)
                    except OSError:
                        break
                    stack.callback(one.close)
                    with contextlib.suppress(OSError):
                        one.sendall(HEAD)
                    open_ones.append(one)
                for one in list(open_ones):
                    try:
                        one.sendall(drop)
                    except OSError:
                        one.close()
                        open_ones.remove(one)
                        returns[0] += 1

    thread = threading.Thread(target=besiege)
    thread.start()
    try:
        yield returns
    finally:
        over.set()
        thread.join()


def answers(daemon: RunningDaemon) -> bool:
    """Whether the page and the health of the daemon can be had just now."""
    try:
        codes = [daemon.http.get(path).status_code for path in ("/", "/readyz")]
    except httpx.TransportError:
        return False
    assert codes == [200, 200]
    return True


def go_on(broker: Mosquitto, values: range) -> None:
    """Readings are published while nothing can be asked."""
    with Publisher(broker.port) as probe:
        for value in values:
            probe.send("dewkeep/cork-cube/canopy", senml(time.time(), value, 70))
            time.sleep(0.05)


def kept(daemon: RunningDaemon) -> list[float]:
    """The temperatures of the canopy in the store."""
    answer = daemon.get(
        "/enclosures/cork-cube/series", probe="canopy", quantity="temperature", points=10_000
    )
    mean = answer["columns"].index("mean")
    return [point[mean] for point in answer["points"]]


@pytest.mark.slow
def test_the_page_answers_beside_slow_clients(daemon: RunningDaemon, broker: Mosquitto) -> None:
    """Two hundred that drip a header each: the page and /readyz answer every time."""
    with besieged(daemon.http_port, 200, b"X-Drop: 1\r\n", 0.2):
        eventually(lambda: connections(daemon) >= 200, "the siege")
        for _ in range(20):
            assert answers(daemon)
        go_on(broker, range(20, 40))

    eventually(lambda: kept(daemon) == list(range(20, 40)), "all readings")


@pytest.mark.slow
def test_the_page_answers_beside_floods_of_headers(
    daemon: RunningDaemon, broker: Mosquitto
) -> None:
    """Fifty that send headers as fast as they can are refused at a bound, and take no memory."""
    process = psutil.Process(daemon.pid)
    for _ in range(3):
        assert answers(daemon)
    before = process.memory_info().rss
    peak = before
    drop = b"".join(b"X-%d: %s\r\n" % (n, b"y" * 100) for n in range(1_000))
    with besieged(daemon.http_port, 50, drop, 0.01) as returns:
        eventually(lambda: returns[0] > 100, "floods that were refused")
        for _ in range(20):
            assert answers(daemon)
            peak = max(peak, process.memory_info().rss)
        go_on(broker, range(20, 40))

    eventually(lambda: kept(daemon) == list(range(20, 40)), "all readings")
    assert (peak - before) / 2**20 < MOST_GROWTH_MB


@pytest.mark.slow
def test_more_clients_than_there_is_room_for(daemon: RunningDaemon, broker: Mosquitto) -> None:
    """They can keep others from the page, but no reading from the store; then all is as before."""
    files = psutil.Process(daemon.pid).num_fds()
    with besieged(daemon.http_port, MOST_CONNECTIONS + 100, b"X-Drop: 1\r\n", 0.2) as returns:
        eventually(lambda: returns[0] > 100, "clients that were sent away")
        assert connections(daemon) <= MOST_CONNECTIONS + 50
        go_on(broker, range(20, 40))

    eventually(lambda: answers(daemon), "the page again")
    assert kept(daemon) == list(range(20, 40))
    eventually(lambda: psutil.Process(daemon.pid).num_fds() < files + 20, "files closed again")


def connections(daemon: RunningDaemon) -> int:
    """How many clients it has let in."""
    sockets = psutil.Process(daemon.pid).net_connections("tcp")
    return sum(each.status == "ESTABLISHED" for each in sockets)
