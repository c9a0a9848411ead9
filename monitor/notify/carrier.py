"""Empties the outbox of one channel, one entry at a time."""

import logging
import math
import sqlite3
from collections.abc import Callable
from functools import partial

from monitor.errors import DeliveryError
from monitor.notify.channel import Channel
from monitor.notify.retries import LONGEST_ASKED_MS, Draw, asked_ms, next_attempt_ms
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import outbox
from monitor.store.sqlite.state.outbox import Waiting

log = logging.getLogger(__name__)

Outcome = Callable[[sqlite3.Connection], None]


class Carrier:
    """Carries the notices of one channel; ``clock`` gives epoch milliseconds UTC.

    Not for several threads at once.
    """

    def __init__(
        self,
        name: str,
        channel: Channel,
        database: Database,
        *,
        clock: Callable[[], int],
        draw: Draw,
    ) -> None:
        self.name = name
        self._channel = channel
        self._database = database
        self._clock = clock
        self._draw = draw
        self._resting_until_ms = 0
        self._outcome: Outcome | None = None

    def turn(self) -> float:
        """Try the entry that is due, if there is one; seconds until the next turn makes sense.

        Raises:
            StoreError: the outbox cannot be read or written; a later turn goes on where this one
                stopped, without delivering twice.
        """
        self._write_down()
        with self._database.reading() as connection:
            entry = outbox.first(connection, self.name)
        if entry is None:
            return math.inf
        now_ms = self._clock()
        due_ms = max(entry.next_attempt_ms, self._resting_until_ms)
        # A time further off than any pause comes from a clock that has since been put right.
        if now_ms < due_ms <= now_ms + LONGEST_ASKED_MS:
            return (due_ms - now_ms) / 1000
        self._outcome = self._attempt(entry)
        self._write_down()
        return 0.0

    def _attempt(self, entry: Waiting) -> Outcome:
        failure = self._deliver(entry)
        now_ms = self._clock()
        told = f"channel {self.name}: {entry.notice.idempotency_key}"
        if failure is None:
            log.info("%s: delivered", told)
            return partial(outbox.delivered, entry_id=entry.id, now_ms=now_ms)

        self._resting_until_ms = now_ms + asked_ms(failure)
        error = str(failure)
        again_ms = next_attempt_ms(entry, failure, now_ms, self._draw)
        if again_ms is None:
            log.error("%s: given up at attempt %d: %s", told, entry.attempts + 1, error)
            return partial(outbox.given_up, entry_id=entry.id, error=error, now_ms=now_ms)
        wait_s = (again_ms - now_ms) / 1000
        log.warning("%s: not delivered, next attempt in %.0f s: %s", told, wait_s, error)
        return partial(outbox.postponed, entry_id=entry.id, error=error, next_attempt_ms=again_ms)

    def _deliver(self, entry: Waiting) -> DeliveryError | None:
        try:
            self._channel.deliver(entry.notice)
        except DeliveryError as failure:
            return failure
        except Exception as exc:  # a fault in one channel must not silence it for good
            log.exception("channel %s: a fault in the channel itself", self.name)
            return DeliveryError(f"a fault in the channel itself: {type(exc).__name__}")
        return None

    def _write_down(self) -> None:
        if self._outcome is not None:
            with self._database.transaction() as connection:
                self._outcome(connection)
            self._outcome = None
