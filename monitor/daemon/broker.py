"""A small MQTT broker inside the process, for trying out and for a single shelf.

It keeps nothing on disk and does not promise to deliver again what was on its way when a
connection broke; docs/operations.md says when to use a real broker instead.
"""

import asyncio
import logging
import threading
from typing import Any

from monitor.errors import Problem, SettingsError

START_WITHIN_S = 10.0


class EmbeddedBroker:
    """amqtt, by its public API only, in a thread with an event loop of its own."""

    def __init__(self, host: str, port: int) -> None:
        self._host = host
        self._port = port
        self._loop = asyncio.new_event_loop()
        self._stop = asyncio.Event()
        self._started = threading.Event()
        self._failed: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="embedded-broker", daemon=True)

    def start(self) -> None:
        """Start and wait until connections are accepted.

        Raises:
            SettingsError: the extra is not installed, or the port is taken.
        """
        self._thread.start()
        if not self._started.wait(START_WITHIN_S):
            self._failed = TimeoutError(f"not up within {START_WITHIN_S:g} s")
        if self._failed is not None:
            says = f"cannot run a broker on {self._host}:{self._port}: {self._failed}"
            raise SettingsError([Problem("settings", "broker.embedded", says)]) from self._failed

    def stop(self) -> None:
        """Close all connections and end the thread."""
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._stop.set)
            self._thread.join(5.0)

    def _run(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._serve())
        except Exception as exc:  # noqa: BLE001 - told by whoever starts
            self._failed = exc
        finally:
            self._started.set()
            self._loop.close()

    async def _serve(self) -> None:
        # Its import takes a third of a second, which a daemon with a real broker should not pay.
        try:
            from amqtt.broker import Broker  # noqa: PLC0415
        except ImportError as exc:
            raise RuntimeError(
                "needs the package amqtt; install it with: pip install 'dewkeep[embedded]'"
            ) from exc

        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)  # a failure is told by start()
        config: dict[str, Any] = {
            "listeners": {"default": {"type": "tcp", "bind": f"{self._host}:{self._port}"}},
            "plugins": {
                "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}
            },
        }
        broker = Broker(config, loop=self._loop)
        await broker.start()
        self._started.set()
        await self._stop.wait()
        await broker.shutdown()
