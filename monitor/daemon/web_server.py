"""The HTTP server: uvicorn, started on a socket of ours and stopped without waiting for streams."""

import asyncio
import contextlib
import signal
import socket
from collections.abc import Awaitable, Callable, Iterator

import h11
import uvicorn
from fastapi import FastAPI
from uvicorn.protocols.http.h11_impl import H11Protocol

from monitor.errors import Problem, SettingsError

GRACE_S = 3
"""How long requests under way may take when the server stops."""
MOST_CONNECTIONS = 256
"""Further ones are closed at once: files that are open for browsers are none for the database."""
REQUEST_WITHIN_S = 20.0
"""How long a client may take to send a request, or to begin one."""


def bind(host: str, port: int) -> socket.socket:
    """A listening socket.

    Raises:
        SettingsError: the port is taken or the address is not of this machine.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen(128)
    except OSError as exc:
        listening.close()
        raise SettingsError(
            [
                Problem(
                    "settings",
                    "server.port",
                    f"cannot listen on {host}:{port} ({exc.strerror}); is dewkeep running "
                    "already? Choose another port or stop what uses this one",
                )
            ]
        ) from exc
    return listening


class _Impatient(H11Protocol):
    """A connection that is closed when its client owes us (the rest of) a request for too long."""

    _patience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin, unless there are too many already."""
        super().connection_made(transport)
        if len(self.connections) > MOST_CONNECTIONS:
            transport.close()
        else:
            self._watch()

    def data_received(self, data: bytes) -> None:
        """Take what has come; whether it is enough is seen from the state of the request."""
        super().data_received(data)
        self._watch()

    def on_response_complete(self) -> None:
        """The next request may begin."""
        super().on_response_complete()
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """End."""
        self._forgive()
        super().connection_lost(exc)

    def _watch(self) -> None:
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._forgive()
        elif self._patience is None:
            self._patience = self.loop.call_later(REQUEST_WITHIN_S, self.transport.close)

    def _forgive(self) -> None:
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None


class _Server(uvicorn.Server):
    """uvicorn that lets us say what happens first when a signal asks it to stop."""

    def __init__(self, config: uvicorn.Config, before_exit: Callable[[], None]) -> None:
        super().__init__(config)
        self._before_exit = before_exit

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """SIGTERM and SIGINT end the streams, then the server; open streams would hold it up."""
        loop = asyncio.get_running_loop()
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.add_signal_handler(number, self.ask_to_exit)
        yield

    def ask_to_exit(self) -> None:
        """Stop soon; asked twice, stop at once."""
        self.force_exit = self.should_exit
        self.should_exit = True
        self._before_exit()


def serve(
    app: FastAPI,
    listening: socket.socket,
    when_up: Callable[[], Awaitable[None]],
    before_exit: Callable[[], None],
) -> None:
    """Answer requests until a signal comes.

    ``when_up`` is begun once they are answered, and given up when the server stops before it is
    done; ``before_exit`` is called when it is asked to stop.
    """
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        lifespan="off",
        http=_Impatient,
        ws="none",
        server_header=False,
        timeout_graceful_shutdown=GRACE_S,
    )
    server = _Server(config, before_exit)

    async def run() -> None:
        up = asyncio.create_task(_announce(server, when_up))
        await server.serve(sockets=[listening])
        up.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await up

    asyncio.run(run())


async def _announce(server: uvicorn.Server, when_up: Callable[[], Awaitable[None]]) -> None:
    while not server.started:
        await asyncio.sleep(0.005)
    await when_up()
