"""A line between a client and a server: as it is, or passing on a few bytes at a time."""

import contextlib
import itertools
import socket
import threading
import time
from types import TracebackType
from typing import Self


class Line:
    """Between whoever connects to ``port`` and a server of this machine, which may be away.

    What one side sent before it ended is passed on before the other side is hung up on.
    """

    def __init__(self, server_port: int, *, chunk: int = 65_536, pause_s: float = 0.0) -> None:
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

    def passes(self, connection: int, by_server: bool, data: bytes) -> None:
        """Told of whatever one side sent, just before the other gets it."""

    def _accept(self) -> None:
        for connection in itertools.count():
            try:
                client, _ = self._listening.accept()
            except OSError:
                return
            try:
                server = socket.create_connection(("127.0.0.1", self._server_port))
            except OSError:
                client.close()
                continue
            self._open += [client, server]
            for by_server, one, other in ((False, client, server), (True, server, client)):
                threading.Thread(
                    target=self._pass_on, args=(connection, by_server, one, other), daemon=True
                ).start()

    def _pass_on(
        self, connection: int, by_server: bool, one: socket.socket, other: socket.socket
    ) -> None:
        with contextlib.suppress(OSError):
            while data := one.recv(self._chunk):
                self.passes(connection, by_server, data)
                other.sendall(data)
                time.sleep(self._pause_s)
        with contextlib.suppress(OSError):
            other.shutdown(socket.SHUT_WR)
