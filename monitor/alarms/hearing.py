"""When each probe was last heard, on the daemon's clock, and whether anything can be heard at all.

While there is no connection to the broker nobody is silent: it is the daemon that is deaf. That
time does not count towards any probe's silence, and after an outage that was long enough to be
told every probe has its full time to be heard anew, as after a start.
"""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from monitor.alarms.rules import WatchedProbe
from monitor.store.readings import Ints

ProbeKey = tuple[str, str]
"""Place and probe."""


class Silence(NamedTuple):
    """A probe that has not been heard since a time."""

    probe: WatchedProbe
    since_ms: int


class Hearing:
    """Keeps the times heard.

    That a message came in, or that the connection was lost, stays true even if it could not be
    saved: nothing here is ever taken back.

    Args:
        probes: those that are watched, here told apart by their number.
        heard: when probes were last heard.
        now_ms: counts as the time heard of every other probe.
        deaf_since_ms: since when there is no connection, None if there is.
    """

    def __init__(
        self,
        probes: Sequence[WatchedProbe],
        heard: Mapping[ProbeKey, int],
        now_ms: int,
        deaf_since_ms: int | None,
    ) -> None:
        self._probes = probes
        self._number = {(probe.place, probe.probe): n for n, probe in enumerate(probes)}
        self._heard_ms = np.array([heard.get(key, now_ms) for key in self._number], dtype=np.int64)
        self._silence_ms = np.array([probe.silence_ms for probe in probes], dtype=np.int64)
        self._silent = np.zeros(len(probes), dtype=np.bool_)
        self.deaf_since_ms = deaf_since_ms

    def last_heard(self) -> dict[ProbeKey, int]:
        """When each probe was last heard."""
        return dict(zip(self._number, self._heard_ms.tolist(), strict=True))

    def hear(self, numbers: Ints, now_ms: int) -> list[WatchedProbe]:
        """Note that probes were heard; those of them that had been silent."""
        self._heard_ms[numbers] = now_ms
        silent = self._silent[numbers]
        if not silent.any():
            return []
        return [self._probes[n] for n in np.unique(numbers[silent]).tolist()]

    def go_deaf(self, now_ms: int) -> int:
        """Note that there is no connection; since when that is so."""
        if self.deaf_since_ms is None:
            self.deaf_since_ms = now_ms
        return self.deaf_since_ms

    def hear_again(self, now_ms: int, *, afresh: bool) -> None:
        """Note that there is a connection; ``afresh`` gives every probe its full time anew."""
        if afresh:
            self._heard_ms[:] = now_ms
        elif self.deaf_since_ms is not None:
            heard_ms = self._heard_ms + (now_ms - self.deaf_since_ms)
            np.minimum(heard_ms, now_ms, out=self._heard_ms)
        self.deaf_since_ms = None

    def overdue(self, now_ms: int) -> list[Silence]:
        """Probes that have been silent for too long and are not known to be."""
        overdue = (now_ms - self._heard_ms >= self._silence_ms) & ~self._silent
        return [
            Silence(self._probes[n], int(self._heard_ms[n]))
            for n in np.flatnonzero(overdue).tolist()
        ]

    def mark(self, key: ProbeKey, *, silent: bool) -> None:
        """Know of a probe whether it is silent."""
        self._silent[self._number[key]] = silent
