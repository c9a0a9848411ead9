"""The outbox loop: a thread for each channel, so that none waits for another."""

import logging
import random
import time
from collections.abc import Callable, Mapping
from threading import Event, Thread
from typing import NamedTuple

from monitor.errors import StoreError
from monitor.notify.carrier import Carrier
from monitor.notify.channel import Channel
from monitor.notify.retries import Draw
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import outbox

log = logging.getLogger(__name__)

LOOK_AGAIN_S = 30.0
"""Entries of other processes, and clocks that were put right, are seen after this long."""
STORE_PAUSE_S = 5.0
STOP_WITHIN_S = 2.0


class Health(NamedTuple):
    """How one channel does: its loop, and its part of the outbox."""

    channel: str
    alive: bool
    waiting: int
    oldest_ms: int | None
    given_up: int
    called_off: int
    last_error: str | None


class Courier:
    """Delivers what the outbox holds, at least once, and keeps trying for a day.

    Call :meth:`wake` whenever a commit may have added entries.
    """

    def __init__(
        self,
        database: Database,
        channels: Mapping[str, Channel],
        *,
        clock: Callable[[], int],
        draw: Draw = random.uniform,
    ) -> None:
        self._database = database
        self._clock = clock
        self._stopping = Event()
        self._rounds = [
            _Round(Carrier(name, channel, database, clock=clock, draw=draw), self._stopping)
            for name, channel in channels.items()
        ]

    def start(self) -> None:
        """Begin to deliver, first what an earlier run left behind."""
        names = [each.name for each in self._rounds]
        with self._database.transaction() as connection:
            orphans = outbox.orphaned(connection, names, self._clock())
        if orphans:
            log.error("%d notifications given up: their channels are no longer set up", orphans)
        for each in self._rounds:
            each.start()

    def wake(self) -> None:
        """Look into the outbox now; from any thread, returns at once."""
        for each in self._rounds:
            each.woken.set()

    def stop(self) -> None:
        """Stop within two seconds.

        A delivery that hangs longer is left to itself, and made again after the next start.
        """
        self._stopping.set()
        self.wake()
        deadline = time.monotonic() + STOP_WITHIN_S
        for each in self._rounds:
            if each.is_alive():
                each.join(max(0.0, deadline - time.monotonic()))
            if each.is_alive():
                log.warning("channel %s: stopped in the middle of a delivery", each.name)

    def health(self) -> list[Health]:
        """How each channel does, in the order they were given."""
        with self._database.reading() as connection:
            stats = {row.channel: row for row in outbox.stats(connection)}
        nothing = outbox.Stats("", 0, None, 0, 0, None)
        return [
            Health(each.name, each.is_alive(), *stats.get(each.name, nothing)[1:])
            for each in self._rounds
        ]


class _Round(Thread):
    """One channel's thread. A daemon: a delivery that hangs must not keep the program alive."""

    def __init__(self, carrier: Carrier, stopping: Event) -> None:
        super().__init__(name=carrier.name, daemon=True)
        self.woken = Event()
        self._carrier = carrier
        self._stopping = stopping

    def run(self) -> None:
        """Take turns until told to stop."""
        while True:
            # Cleared before looking, so that no wake is lost, nor the one that says stop.
            self.woken.clear()
            if self._stopping.is_set():
                return
            self.woken.wait(min(self._turn(), LOOK_AGAIN_S))

    def _turn(self) -> float:
        try:
            return self._carrier.turn()
        except StoreError as exc:
            if not self._stopping.is_set():
                log.warning("channel %s: the outbox cannot be used: %s", self.name, exc)
        except Exception:
            log.exception("channel %s: a fault in the outbox loop", self.name)
        return STORE_PAUSE_S
