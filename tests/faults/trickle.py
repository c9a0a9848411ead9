"""A line that passes on a few bytes at a time."""

import contextlib
import socket
import threading
import time
from types import TracebackType
from typing import Self


class Trickle:
    """Between whoever connects to ``port`` and a server of this machine."""

    def __init__(self, server_port: int, *, chunk: int, pause_s: float) -> None:
        self._server_port = server_port
        self._chunk = chunk
        self._pause_s = pause_s
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listening.getsockname()[1]
        self._open: list[socket.socket] = []
        self._thread = threading.Thread(target=self._accept, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for each in (self._listening, *self._open):
            with contextlib.suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)
            each.close()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listening.accept()
                server = socket.create_connection(("127.0.0.1", self._server_port))
            except OSError:
                return
            self._open += [client, server]
            for one, other in ((client, server), (server, client)):
                threading.Thread(target=self._pass_on, args=(one, other), daemon=True).start()

    def _pass_on(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(self._chunk):
                other.sendall(data)
                time.sleep(self._pause_s)
        with contextlib.suppress(OSError):
            other.shutdown(socket.SHUT_WR)
