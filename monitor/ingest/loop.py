"""The one thread that reads, decides, commits and acknowledges, turn after turn.

Everything that changes alarms or set-up happens here, between two batches: there is one writer and
nothing to lock. What comes from outside (an acknowledgement, a changed set-up) is asked for with
:meth:`IngestLoop.ask` and carried out in the next turn.
"""

import logging
import threading
import time
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Any, Protocol, TypeVar

from monitor.errors import StoreError, StoreUnavailable
from monitor.ingest.backoff import Backoff
from monitor.ingest.link import LinkState, Message
from monitor.ingest.pipeline import Pipeline

log = logging.getLogger(__name__)

Answer = TypeVar("Answer")

BATCH_MESSAGES = 2_000
LINGER_S = 0.05
"""Commit after so many messages or so long, whichever is first (docs/performance.md)."""
WAIT_S = 0.5
TICK_S = 1.0
JUMP_MS = 5_000
"""A difference between wall clock and steady clock that no slewing makes from turn to turn."""
DEAD_AFTER_S = 20.0
"""Longer than any turn takes, a broker that drops packets included."""


class Line(Protocol):
    """What the loop needs of a :class:`monitor.ingest.link.Link`."""

    state: LinkState

    def gather(self, wait_s: float, limit: int, linger_s: float) -> list[Message]:
        """Messages that have come."""
        ...

    def rest(self, wait_s: float) -> None:
        """Read nothing for a while."""
        ...

    def wake(self) -> None:
        """End a wait early; from any thread, at any time."""
        ...

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """Tell the broker that these are kept."""
        ...

    def close(self) -> None:
        """Say goodbye."""
        ...


@dataclass(frozen=True, slots=True)
class LoopState:
    """What health shows of the loop."""

    alive: bool
    beat_age_s: float
    held_messages: int
    repeated_readings: int
    mistakes: int
    """Messages and turns that dewkeep itself failed on."""
    lag_s: float | None
    """How old the newest reading of the last batch was when it was taken in, None before any."""
    store_says: str | None
    """What is wrong with the store; None while it takes what comes."""


class IngestLoop:
    """Runs a pipeline over what a link brings.

    ``clock`` gives epoch milliseconds and may be put right at any time, ``steady`` gives seconds
    and never is.
    """

    def __init__(
        self,
        link: Line,
        pipeline: Pipeline,
        clock: Callable[[], int],
        steady: Callable[[], float] = time.monotonic,
    ) -> None:
        self.link = link
        self._pipeline = pipeline
        self._clock = clock
        self._steady = steady
        self._offset_ms: int | None = None
        self._requests: SimpleQueue[tuple[Callable[[Pipeline, int], Any], Future[Any]]] = (
            SimpleQueue()
        )
        self._held: list[Message] = []
        self._taken = False
        self._store_backoff = Backoff(first_s=0.2, most_s=10.0)
        self._store_says: str | None = None
        self._mistakes = 0
        self._beat = time.monotonic()
        self._tick_due = 0.0
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ingest", daemon=True)

    def start(self) -> None:
        """Begin; the pipeline must be loaded."""
        self._thread.start()

    def ask(self, work: Callable[[Pipeline, int], Answer]) -> Future[Answer]:
        """Have ``work(pipeline, now_ms)`` done by the loop's thread in its next turn.

        While nothing can be stored it waits; cancelled in that time, it will not be done.
        """
        future: Future[Answer] = Future()
        self._requests.put((work, future))
        if self._stopping.is_set():
            self._refuse_requests()  # the loop may have looked for the last time
        else:
            self.link.wake()
        return future

    def stop(self, wait_s: float = 10.0) -> None:
        """Finish the turn, acknowledge, say goodbye to the broker."""
        self._stopping.set()
        self.link.wake()
        self._thread.join(wait_s)

    def state(self) -> LoopState:
        """How the loop is doing; from any thread."""
        age = time.monotonic() - self._beat
        return LoopState(
            alive=self._thread.is_alive() and age < DEAD_AFTER_S,
            beat_age_s=age,
            held_messages=len(self._held),
            repeated_readings=self._pipeline.repeated,
            mistakes=self._mistakes,
            lag_s=self._pipeline.lag_s,
            store_says=self._store_says,
        )

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self._turn()
                # A turn that fails is no sign of life: should all of them, health says so.
                self._beat = time.monotonic()
            except Exception:
                # The last line of defence: a mistake of ours must not end the watch.
                self._mistakes += 1
                log.exception("a turn of the ingest loop failed; going on")
                self._stopping.wait(0.2)
        self._refuse_requests()
        self.link.close()

    def _turn(self) -> None:
        if not self._held:
            self._held = self.link.gather(WAIT_S, BATCH_MESSAGES, LINGER_S)
        try:
            self._work_off()
        except StoreError as exc:
            # Nothing is acknowledged until it is kept: what is held is tried again, the rest
            # waits at the broker.
            if self._store_says is None:
                log.error("cannot store, holding on to what came: %s", exc)
            self._store_says = str(exc)
            self._tick_due = 0.0  # a turn that has nothing to store proves nothing
            self.link.rest(self._store_backoff.next_s())
            return
        if self._store_says is not None:
            log.warning("storing again")
            self._store_says = None
            self._store_backoff.reset()

    def _look_at_clock(self) -> int:
        """The time of this turn; the pipeline knows by then whether the clock was put right.

        All of a turn goes by one look: a clock that jumps in the middle of it counts from the next.
        """
        now_ms = self._clock()
        offset_ms = now_ms - round(1000 * self._steady())
        jumped_ms = 0 if self._offset_ms is None else offset_ms - self._offset_ms
        if abs(jumped_ms) >= JUMP_MS:
            self._pipeline.clock_jumped(jumped_ms, now_ms)
            log.warning("the clock jumped by %+.0f s", jumped_ms / 1000)
        self._offset_ms = offset_ms
        return now_ms

    def _work_off(self) -> None:
        now_ms = self._look_at_clock()
        if self._held and not self._taken:
            try:
                self._pipeline.take(self._held, now_ms)
                self._taken = True
            except StoreError:
                raise
            except Exception:
                log.exception("a batch of %d messages failed; taking them singly", len(self._held))
                self._take_singly(now_ms)
        if self._taken:
            # What was taken once is not taken again, however often handing over has to be tried.
            try:
                self._pipeline.hand_over()
            except StoreError:
                # A keeper's doings are kept here and need no engine.
                self._answer_requests(now_ms)
                raise
            self.link.acknowledge(self._held)
            self._held, self._taken = [], False
        self._answer_requests(now_ms)
        now = time.monotonic()
        if now >= self._tick_due:
            self._tick_due = now + TICK_S
            self._pipeline.tick(now_ms, broker_connected=self.link.state.connected)

    def _take_singly(self, now_ms: int) -> None:
        """One message that dewkeep fails on must not hold up all others for ever."""
        while self._held:
            message = self._held[0]
            try:
                self._pipeline.take([message], now_ms)
            except StoreError:
                raise
            except Exception as exc:
                self._mistakes += 1
                log.exception("dewkeep failed on a message: %r", message.payload[:1000])
                self._pipeline.reject(message, exc, now_ms)
            self._pipeline.hand_over()
            self.link.acknowledge([message])
            del self._held[0]

    def _answer_requests(self, now_ms: int) -> None:
        while True:
            try:
                work, future = self._requests.get_nowait()
            except Empty:
                return
            if not future.set_running_or_notify_cancel():
                continue
            try:
                future.set_result(work(self._pipeline, now_ms))
            except Exception as exc:  # noqa: BLE001 - it belongs to whoever asked
                future.set_exception(exc)

    def _refuse_requests(self) -> None:
        while True:
            try:
                _, future = self._requests.get_nowait()
            except Empty:
                return
            if future.set_running_or_notify_cancel():
                future.set_exception(StoreUnavailable("dewkeep is stopping"))
