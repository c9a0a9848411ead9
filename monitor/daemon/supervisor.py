"""What systemd is told: up, alive, going down. Without systemd nothing is told and nothing happens.

The protocol is one datagram for each state (sd_notify(3)): no library is needed for it.
"""

import contextlib
import os
import socket
import threading
from collections.abc import Callable, Mapping


class Supervisor:
    """Tells whoever started the process how it is doing; ``environ`` says where and how often."""

    def __init__(self, environ: Mapping[str, str] = os.environ) -> None:
        address = environ.get("NOTIFY_SOCKET", "")
        # A leading @ stands for the abstract namespace, which begins with a zero byte.
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        for_us = environ.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        self.watchdog_s = int(environ.get("WATCHDOG_USEC", "0")) / 1e6 if for_us else 0.0
        """The longest silence before the process is ended and started again; 0 for any."""

    def tell(self, state: str) -> None:
        """Send a state such as ``READY=1``; that nobody listens is no harm."""
        if self._address:
            with (
                contextlib.suppress(OSError),
                socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line,
            ):
                line.sendto(state.encode(), self._address)


class Watchdog:
    """Says that the daemon lives while ``alive`` finds it so.

    When that stays away for too long, systemd ends the process and starts it anew; it goes on from
    the last commit.
    """

    def __init__(self, supervisor: Supervisor, alive: Callable[[], bool]) -> None:
        self._supervisor = supervisor
        self._alive = alive
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watchdog", daemon=True)

    def start(self) -> None:
        """Begin, if anybody asked for it."""
        if self._supervisor.watchdog_s:
            self._thread.start()

    def stop(self) -> None:
        """Say no more."""
        self._stopping.set()

    def _run(self) -> None:
        while not self._stopping.wait(self._supervisor.watchdog_s / 3):
            if self._alive():
                self._supervisor.tell("WATCHDOG=1")
