"""Bad weather between dewkeep and an HTTP server: a proxy that forwards, or does worse."""

import threading
from enum import StrEnum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx


class Mood(StrEnum):
    """What the proxy does with writes; everything else it always forwards."""

    FAIR = "fair"
    REFUSES = "refuses"
    """Answers 500, the server hears nothing of it."""
    SWALLOWS = "swallows"
    """The server keeps it, but the answer is lost."""
    CUTS = "cuts"
    """The server gets half of it, no answer comes."""
    HANGS = "hangs"
    """No answer ever, the server hears nothing of it."""


class Weather:
    """Listens on a free local port until closed."""

    def __init__(self, target: str) -> None:
        self.mood = Mood.FAIR
        self.writes = 0
        self._over = threading.Event()
        weather = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                self._pass_on(b"")

            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                if not self.path.startswith("/api/v2/write"):
                    self._pass_on(body)
                    return
                weather.writes += 1
                match weather.mood:
                    case Mood.FAIR:
                        self._pass_on(body)
                    case Mood.REFUSES:
                        self._answer(500, b'{"code":"internal error","message":"out of luck"}')
                    case Mood.SWALLOWS:
                        self._forward(body)
                        self.close_connection = True
                    case Mood.CUTS:
                        self._forward(b"\n".join(body.splitlines()[: body.count(b"\n") // 2 + 1]))
                        self.close_connection = True
                    case Mood.HANGS:
                        weather._over.wait(60)
                        self.close_connection = True

            def _forward(self, body: bytes) -> httpx.Response:
                names = ("Content-Type", "Authorization")
                headers = {name: self.headers[name] for name in names if name in self.headers}
                return httpx.request(
                    self.command, target + self.path, content=body, headers=headers, timeout=20
                )

            def _pass_on(self, body: bytes) -> None:
                try:
                    answer = self._forward(body)
                except httpx.HTTPError as exc:
                    self._answer(502, str(exc).encode())
                else:
                    self._answer(answer.status_code, answer.content)

            def _answer(self, status: int, body: bytes) -> None:
                self.send_response(status)
                if status != 204:
                    self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                if status != 204:
                    self.wfile.write(body)

            def log_message(self, *_args: object) -> None:
                """Keep test output clean."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)
        self._thread.start()

    @property
    def url(self) -> str:
        """Where to ask instead of the server."""
        return f"http://127.0.0.1:{self._server.server_port}"

    def close(self) -> None:
        """Stop listening."""
        self._over.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
