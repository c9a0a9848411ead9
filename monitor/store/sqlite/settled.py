"""What chapters of many series add up to, remembered: the past is asked often, seldom changes."""

from threading import Lock
from typing import NamedTuple

from monitor.store.buckets import Tally
from monitor.store.readings import Ints


class Asked(NamedTuple):
    """A question about chapters: which series (their ids as bytes), which hours, how wide."""

    series: bytes
    first_hour: int
    last_hour: int
    width_s: int


class Sums(NamedTuple):
    """Its answer: the keys of the chapters that there are, and their tally."""

    keys: Ints
    tally: Tally


class Settled:
    """The last answer, good until a chapter is written or forgotten."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._edition = 0
        self._open = True
        self._kept: tuple[Asked, Sums] | None = None

    @property
    def edition(self) -> int:
        """Look at it before reading the file: what is read of an older edition is not kept."""
        return self._edition

    def known(self, asked: Asked) -> Sums | None:
        """The answer, if it is remembered."""
        kept = self._kept
        return kept[1] if kept is not None and kept[0] == asked else None

    def keep(self, asked: Asked, sums: Sums, edition: int) -> None:
        """Remember an answer that was read since ``edition``."""
        with self._lock:
            if self._open and edition == self._edition:
                self._kept = (asked, sums)

    def close(self) -> None:
        """Chapters are about to change: remember nothing until they have."""
        with self._lock:
            self._open = False
            self._kept = None

    def reopen(self) -> None:
        """Chapters have changed."""
        with self._lock:
            self._open = True
            self._edition += 1
            self._kept = None
