"""Clients that never finish, over real sockets: sent away, and nobody else waits for them."""

import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack

import httpx
import pytest
from fastapi import FastAPI, Request

from monitor.daemon import web_server
from tests.support.servers import free_port
from tests.support.waiting import eventually

PATIENCE_S = 0.5


class Served:
    """A small application behind our server, in this process."""

    def __init__(self) -> None:
        self.port = free_port()
        self.app = FastAPI()

        @self.app.post("/echo")
        async def echo(request: Request) -> int:
            return len(await request.body())

        self.url = f"http://127.0.0.1:{self.port}/echo"

    def connect(self, data: bytes = b"") -> socket.socket:
        """A client that sends something and then waits."""
        client = socket.create_connection(("127.0.0.1", self.port), timeout=20)
        client.sendall(data)
        return client


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """The server, with little patience."""
    monkeypatch.setattr(web_server, "REQUEST_WITHIN_S", PATIENCE_S)
    monkeypatch.setattr(web_server, "MOST_CONNECTIONS", 20)
    built = Served()
    servers: list[web_server._Server] = []
    make = web_server._Server

    def remember(*args: object) -> web_server._Server:
        servers.append(make(*args))  # type: ignore[arg-type]
        return servers[0]

    monkeypatch.setattr(web_server, "_Server", remember)
    monkeypatch.setattr(make, "capture_signals", ExitStack)  # only a main thread has them
    with web_server.bind("127.0.0.1", built.port) as listening:
        up = threading.Event()

        async def when_up() -> None:
            up.set()

        thread = threading.Thread(
            target=web_server.serve, args=(built.app, listening, when_up, lambda: None)
        )
        thread.start()
        assert up.wait(20)
        yield built
        servers[0].should_exit = True
        thread.join(20)


def ended(client: socket.socket) -> bytes:
    """All that came before the server closed."""
    data = b""
    while more := client.recv(65_536):
        data += more
    client.close()
    return data


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"POST /echo HTTP/1.1\r\nHost: x\r\nX-Slow: ",
        b"POST /echo HTTP/1.1\r\nHost: x\r\nContent-Length: 100\r\n\r\nonly some",
    ],
)
def test_a_request_that_is_never_finished(served: Served, data: bytes) -> None:
    """Nothing, half a header, half a body: closed without an answer."""
    assert ended(served.connect(data)) == b""


def test_a_drop_now_and_then_is_not_enough(served: Served) -> None:
    """The time runs from the beginning of the request, not from its last byte."""
    client = served.connect(b"POST /echo HTTP/1.1\r\nHost: x\r\n")
    gone = threading.Event()

    def drip() -> None:
        while not gone.wait(PATIENCE_S / 10):
            try:
                client.sendall(b"X-Drop: 1\r\n")
            except OSError:
                return

    dripping = threading.Thread(target=drip)
    dripping.start()
    try:
        client.recv(100)  # raises, or is empty, once it is closed
    except ConnectionError:
        pass
    finally:
        gone.set()
        dripping.join()
        client.close()


def test_a_request_in_time_is_answered_and_the_next_too(served: Served) -> None:
    """A kept connection begins anew with each request."""
    with httpx.Client() as http:
        for size in (0, 10, 100_000):
            assert http.post(served.url, content=b"x" * size).json() == size


def test_headers_without_end(served: Served) -> None:
    """A flood of headers is refused at a bound, and the connection closed."""
    client = served.connect(b"POST /echo HTTP/1.1\r\nHost: x\r\n")
    answer = b""
    try:
        for n in range(20_000):
            client.sendall(b"X-%d: %s\r\n" % (n, b"y" * 100))
        answer = ended(client)
    except ConnectionError:
        client.close()

    assert answer == b"" or answer.startswith(b"HTTP/1.1 4")
    assert httpx.post(served.url, content=b"abc").json() == 3


def test_too_many_clients_at_once(served: Served) -> None:
    """The further ones are sent away at once; when the first give up there is room again."""
    with ExitStack() as stack:
        clients = [stack.enter_context(served.connect()) for _ in range(40)]
        closed = sum(1 for client in clients[20:] if client.recv(1) == b"")
        assert closed == 20

    def room() -> bool:
        try:
            return httpx.post(served.url, content=b"abc").text == "3"
        except httpx.TransportError:
            return False

    eventually(room, "room for others")
