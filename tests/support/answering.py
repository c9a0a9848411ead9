"""A real HTTP server on a free local port that answers every GET as a test wants it to."""

import ssl
import threading
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Request(BaseHTTPRequestHandler):
    """One request, and the means to answer it in good order or in bad."""

    def give(self, body: bytes, status: int = 200, **headers: str) -> None:
        """A whole answer."""
        self.begin(len(body), status, **headers)
        self.wfile.write(body)

    def begin(self, length: int | None, status: int = 200, **headers: str) -> None:
        """The head of an answer, and nothing of its body yet."""
        self.send_response(status)
        if length is not None:
            self.send_header("Content-Length", str(length))
        for name, value in headers.items():
            self.send_header(name, value)
        self.end_headers()

    def log_message(self, *_args: object) -> None:
        """Keep test output clean."""


Answer = Callable[[Request], None]


class _Server(ThreadingHTTPServer):
    daemon_threads = True

    def handle_error(self, *_args: object) -> None:
        """Who asks may go away in the middle of it: no news for a test."""


class Answering:
    """Listens until closed; ``answer`` may be changed at any time, ``asked`` is what came."""

    def __init__(self, answer: Answer, tls: ssl.SSLContext | None = None) -> None:
        self.answer = answer
        self.asked: list[tuple[str, dict[str, str]]] = []
        """Path and headers of each request."""
        server = self

        class Handler(Request):
            def do_GET(self) -> None:
                server.asked.append((self.path, dict(self.headers.items())))
                try:
                    server.answer(self)
                except OSError:
                    self.close_connection = True  # whoever asked has lost patience

        self._server = _Server(("127.0.0.1", 0), Handler)
        self._scheme = "http" if tls is None else "https"
        if tls is not None:
            self._server.socket = tls.wrap_socket(
                self._server.socket, server_side=True, do_handshake_on_connect=False
            )
        self._thread = threading.Thread(
            target=self._server.serve_forever, args=(0.02,), daemon=True
        )
        self._thread.start()

    @property
    def url(self) -> str:
        """Where it is."""
        return f"{self._scheme}://127.0.0.1:{self._server.server_port}"

    def close(self) -> None:
        """Stop listening."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
