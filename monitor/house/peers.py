"""The other daemons of the house: asked again and again, and what each said last.

Whoever wants to see the house never waits for them, and however many look at it, each is asked
once every few seconds.
"""

import logging
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monitor.errors import PeerError
from monitor.house.asking import TOO_LATE, WITHIN_S, Question
from monitor.house.told import Asked, Told
from monitor.setup.peers import Peer

log = logging.getLogger(__name__)

EVERY_S = 5.0
AGAIN_S = 2.0
"""Seconds until one that did not answer is asked again."""
REFUSED_EVERY_S = 30.0
"""One that does not take our token would count us among those who guess."""
SILENT_AFTER_S = 15.0
"""So old the last answer may be: a daemon that is being started anew takes a few seconds."""
STOP_WITHIN_S = 2.0


class Peers:
    """All peers, each with a thread that asks it.

    ``clock`` gives epoch milliseconds UTC and may be put right at any time, ``steady`` gives
    seconds and never is.

    Raises:
        SettingsError: a token or certificates cannot be had.
    """

    def __init__(
        self,
        peers: Sequence[Peer],
        own_name: str,
        *,
        clock: Callable[[], int],
        steady: Callable[[], float] = time.monotonic,
        within_s: float = WITHIN_S,
        every_s: float = EVERY_S,
    ) -> None:
        self.begun_ms = clock()
        """Since when they are asked."""
        self._askers = [
            _Asker(each, Question(each, own_name, within_s=within_s), clock, steady, every_s)
            for each in peers
        ]

    def __bool__(self) -> bool:
        return bool(self._askers)

    def start(self) -> None:
        """Begin asking."""
        for each in self._askers:
            each.start()

    def stop(self) -> None:
        """Stop within two seconds; a question that takes longer is left to itself."""
        for each in self._askers:
            each.ask_to_stop()
        until = time.monotonic() + STOP_WITHIN_S
        for each in self._askers:
            each.join(max(0.0, until - time.monotonic()))

    def ask(self) -> list[float]:
        """Ask each of them once, one after the other; seconds until each is to be asked again."""
        return [each.ask() for each in self._askers]

    def seen(self) -> list[Asked]:
        """What is known of each now; waits for nobody."""
        return [each.seen() for each in self._askers]


@dataclass(frozen=True, slots=True)
class _Known:
    told: Told | None = None
    answered_ms: int | None = None
    answered_at: float = 0.0
    """On the steady clock; before the first answer, when it was first to be asked."""
    why_not: str | None = None


class _Asker:
    """Asks one peer; the thread writes what is known in one piece, others read it."""

    def __init__(
        self,
        peer: Peer,
        question: Question,
        clock: Callable[[], int],
        steady: Callable[[], float],
        every_s: float,
    ) -> None:
        self._peer = peer
        self._question = question
        self._clock = clock
        self._steady = steady
        self._every_s = every_s
        self._known = _Known(answered_at=steady())
        self._complained = False
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name=f"peer {peer.name}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def ask_to_stop(self) -> None:
        self._stopping.set()

    def join(self, within_s: float) -> None:
        if self._thread.ident is not None:
            self._thread.join(within_s)

    def seen(self) -> Asked:
        known = self._known
        fresh = self._steady() - known.answered_at <= SILENT_AFTER_S
        answers = known.told is not None and fresh
        why_not = known.why_not
        if not fresh and why_not is None:
            # It was asked, and the answer neither comes to an end nor breaks off.
            why_not = TOO_LATE.format(SILENT_AFTER_S)
        return Asked(
            self._peer.name, self._peer.url, answers, known.told, known.answered_ms, why_not
        )

    def ask(self) -> float:
        """Ask once; seconds until it makes sense to ask again."""
        try:
            told = self._question.ask()
        except PeerError as exc:
            return self._note_failure(str(exc), REFUSED_EVERY_S if exc.refused else AGAIN_S)
        except Exception as exc:  # a fault of ours must not end the asking for good
            log.exception("a fault in asking %s", self._peer.name)
            return self._note_failure(f"a fault in asking it: {type(exc).__name__}", AGAIN_S)
        self._known = _Known(told, self._clock(), self._steady())
        if self._complained:
            log.info("%s answers again", self._peer.name)
        self._complained = False
        return self._every_s

    def _note_failure(self, why: str, again_s: float) -> float:
        known = self._known
        self._known = _Known(known.told, known.answered_ms, known.answered_at, why)
        if not self._complained:
            log.warning("%s does not answer: %s", self._peer.name, why)
        self._complained = True
        return again_s

    def _run(self) -> None:
        pause_s = 0.0
        while not self._stopping.wait(pause_s):
            pause_s = self.ask()
