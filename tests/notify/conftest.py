"""A database, a receiver for webhooks that does as it is told, and a way to wait for things."""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import NamedTuple

import pytest

from monitor.store.sqlite.database import Database


class Received(NamedTuple):
    """A request as it came in."""

    target: str
    headers: Message
    body: bytes


@dataclass(frozen=True)
class Answer:
    """What the receiver answers once; it keeps a client waiting until its end if it ``hangs``."""

    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    hangs: bool = False


class Receiver:
    """A real HTTP server on a free port; gives the planned answers in turn, then 204."""

    def __init__(self) -> None:
        self.received: list[Received] = []
        self.planned: deque[Answer] = deque()
        self._ended = threading.Event()
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                answer = receiver.planned.popleft() if receiver.planned else Answer()
                receiver.received.append(Received(self.path, self.headers, body))
                if answer.hangs:
                    receiver._ended.wait(30)
                    return
                self.send_response(answer.status)
                for name, value in answer.headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", str(len(answer.body)))
                self.end_headers()
                self.wfile.write(answer.body)

            def do_GET(self) -> None:
                self.do_POST()

            def log_message(self, *_: object) -> None:
                """Say nothing."""

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_address[1]
        self._thread = threading.Thread(target=self.server.serve_forever, args=(0.01,))
        self._thread.start()

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"http://127.0.0.1:{self.port}/hook"

    def close(self) -> None:
        """Let go of everyone who waits, and stop."""
        self._ended.set()
        self.server.shutdown()
        self._thread.join()
        self.server.server_close()


@pytest.fixture
def receivers() -> Iterator[Callable[[], Receiver]]:
    """Makes receivers that are stopped after the test."""
    made: list[Receiver] = []

    def make() -> Receiver:
        made.append(Receiver())
        return made[-1]

    yield make
    for receiver in made:
        receiver.close()


@pytest.fixture
def receiver(receivers: Callable[[], Receiver]) -> Receiver:
    """One receiver."""
    return receivers()


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """An empty database with the schema of this version."""
    database = Database(tmp_path / "dewkeep.db")
    yield database
    database.close()


@pytest.fixture
def eventually() -> Callable[[Callable[[], object]], None]:
    """Waits until something is so, and fails if it is not within ten seconds."""

    def wait_until(is_so: Callable[[], object]) -> None:
        deadline = time.monotonic() + 10
        while not is_so():
            assert time.monotonic() < deadline, "it never came to be"
            time.sleep(0.005)

    return wait_until


@pytest.fixture
def answer() -> type[Answer]:
    """To plan a receiver's answers with."""
    return Answer
