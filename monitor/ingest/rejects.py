"""What could not be used: counted by reason, a few kept to look at, the log not flooded."""

import logging
import threading
from collections import Counter, deque
from typing import NamedTuple

log = logging.getLogger(__name__)

KEPT = 50
TOLD_EVERY_MS = 60_000
MOST_CHARACTERS = 500
"""Of a topic and of what is said about it: a topic may have 65,535 bytes."""


class Reject(NamedTuple):
    """One message or value that could not be used."""

    at_ms: int
    topic: str
    reason: str
    says: str


class Rejects:
    """Counts rejected messages and values by reason; read from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._counts: Counter[str] = Counter()
        self._recent: deque[Reject] = deque(maxlen=KEPT)
        self._told_ms: dict[str, int] = {}
        self._untold: Counter[str] = Counter()

    def add(self, reject: Reject) -> None:
        """Count one; the log hears of each reason at most once a minute."""
        reject = reject._replace(topic=_short(reject.topic), says=_short(reject.says))
        with self._lock:
            self._counts[reject.reason] += 1
            self._recent.append(reject)
            if reject.at_ms - self._told_ms.get(reject.reason, -TOLD_EVERY_MS) < TOLD_EVERY_MS:
                self._untold[reject.reason] += 1
                return
            self._told_ms[reject.reason] = reject.at_ms
            untold = self._untold.pop(reject.reason, 0)
        more = f" (and {untold} more since last told)" if untold else ""
        log.warning("rejected %r: %s: %s%s", reject.topic, reject.reason, reject.says, more)

    def counts(self) -> dict[str, int]:
        """How many so far, by reason."""
        with self._lock:
            return dict(self._counts)

    def recent(self) -> list[Reject]:
        """The last few, newest first."""
        with self._lock:
            return list(reversed(self._recent))


def _short(text: str) -> str:
    return text if len(text) <= MOST_CHARACTERS else f"{text[:MOST_CHARACTERS]}..."
