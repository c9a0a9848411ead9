"""A sign of life to someone outside, who notices when it stays away."""

import logging
import threading
import time
from collections.abc import Callable

from monitor.errors import DeliveryError
from monitor.notify.target import Target

log = logging.getLogger(__name__)

FIRST_AFTER_S = 5.0
TOLD_AGAIN_S = 3600.0
STOP_WITHIN_S = 2.0


class Heartbeat:
    """Calls an address at even intervals, only while ``healthy`` says that all is well.

    A call that fails is not made up for: the next one is due soon. The log tells of the first
    failure, then once an hour until it works again.
    """

    def __init__(
        self,
        target: Target,
        *,
        method: str,
        every_s: float,
        healthy: Callable[[], bool],
        told_again_s: float = TOLD_AGAIN_S,
    ) -> None:
        self._target = target
        self._method = method
        self._every_s = every_s
        self._healthy = healthy
        self._told_again_s = told_again_s
        self._told_at: float | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="heartbeat", daemon=True)

    def start(self) -> None:
        """Begin; the first call waits until all can be well."""
        self._thread.start()

    def stop(self) -> None:
        """Stop within two seconds; a call that hangs longer is left to itself."""
        self._stopping.set()
        self._thread.join(STOP_WITHIN_S)

    def beat(self) -> None:
        """Make one call, if all is well."""
        try:
            wrong = None if self._healthy() else "dewkeep itself is not well"
            if wrong is None:
                self._target.ask(self._method)
        except DeliveryError as exc:
            wrong = str(exc)
        except Exception as exc:  # whatever it is, a sign of life would be a lie
            log.exception("a fault in the heartbeat")
            wrong = f"a fault in the heartbeat: {type(exc).__name__}"
        self._tell(wrong)

    def _run(self) -> None:
        pause_s = min(FIRST_AFTER_S, self._every_s)
        while not self._stopping.wait(pause_s):
            self.beat()
            pause_s = self._every_s

    def _tell(self, wrong: str | None) -> None:
        now = time.monotonic()
        if wrong is None:
            if self._told_at is not None:
                log.info("the heartbeat goes out again")
            self._told_at = None
        elif self._told_at is None or now - self._told_at >= self._told_again_s:
            log.warning("no heartbeat: %s", wrong)
            self._told_at = now
