"""A receiver of webhooks: a real HTTP server that remembers what came and answers as told."""

import json
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any


@dataclass(frozen=True)
class Received:
    """One request."""

    headers: dict[str, str]
    body: bytes
    at: float
    """When it had come in whole, on ``time.perf_counter``."""

    @property
    def json(self) -> Any:
        """The body, parsed."""
        return json.loads(self.body)


class Receiver:
    """Listens on a free local port until closed; ``answer`` decides the status of each request."""

    def __init__(self, answer: Callable[[int], int] = lambda _number: 204) -> None:
        self.received: list[Received] = []
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                receiver.received.append(
                    Received(dict(self.headers.items()), body, time.perf_counter())
                )
                self.send_response(answer(len(receiver.received)))
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_args: object) -> None:
                """Keep test output clean."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """Where to send."""
        return f"http://127.0.0.1:{self._server.server_port}/hook"

    def close(self) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
