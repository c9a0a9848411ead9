"""Series drawn small: which width of bucket to take, and how readings become buckets.

Shared by the engines, so that the same readings give the same buckets whatever holds them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain, count
from typing import Self

import numpy as np

from monitor.quality import FIRST_BAD
from monitor.store.readings import Buckets, Flags, Floats, Ints, Track
from monitor.times import SECOND_MS

MINUTE_S, HOUR_S, DAY_S = 60, 3_600, 86_400

WIDTHS_S = (
    *(1, 2, 5, 10, 15, 20, 30),
    *(n * MINUTE_S for n in (1, 2, 5, 10, 15, 20, 30)),
    *(n * HOUR_S for n in (1, 2, 3, 4, 6, 8, 12)),
    *(n * DAY_S for n in (1, 2, 7, 14, 28)),
)
"""Widths a person can read off an axis; beyond the last each is twice the one before."""


def width_for(start_ms: int, end_ms: int, points: int, at_least_s: int = 1) -> int:
    """The narrowest width, in seconds, that covers a span in at most ``points`` whole buckets.

    Nothing is stored before 1970, so what lies before it takes no bucket: a span across it would
    touch two buckets however wide they are.
    """
    start_ms = max(start_ms, 0)
    doubled = (WIDTHS_S[-1] << n for n in count(1))
    return next(
        width_s
        for width_s in chain(WIDTHS_S, doubled)
        if width_s >= at_least_s and _fits(start_ms, end_ms, points, width_s)
    )


def widened(start_ms: int, end_ms: int, width_s: int) -> tuple[int, int]:
    """The span of all buckets that a span touches."""
    width_ms = width_s * SECOND_MS
    return start_ms // width_ms * width_ms, -(-end_ms // width_ms) * width_ms


def usable(track: Track) -> Track:
    """The readings of a track that are not bad."""
    good = track.reason < FIRST_BAD
    if good.all():
        return track
    return Track(track.at_ms[good], track.value[good], track.reason[good])


def raw(track: Track) -> Buckets:
    """Every reading that is not bad as a bucket of its own."""
    track = usable(track)
    ones = np.ones(len(track), np.int64)
    return Buckets(0, track.at_ms, track.value, track.value, track.value, ones)


def bucketed(track: Track, width_s: int) -> Buckets:
    """All readings of a track that are not bad, in buckets; empty ones are absent."""
    track = usable(track)
    return Tally.of(track.at_ms // (width_s * SECOND_MS), track.value).drawn(width_s)


@dataclass(frozen=True, slots=True)
class Tally:
    """What adds up: per slot (any ascending integers) the number, sum, lowest and highest."""

    slot: Ints
    count: Ints
    total: Floats
    low: Floats
    high: Floats

    @classmethod
    def of(cls, slot: Ints, value: Floats) -> Self:
        """Count values into slots; ``slot`` ascends."""
        return cls(slot, np.ones(len(slot), np.int64), value, value, value).gathered()

    @classmethod
    def nothing(cls) -> Self:
        """No slots."""
        return cls.of(np.empty(0, np.int64), np.empty(0, np.float64))

    @classmethod
    def joined(cls, parts: Sequence["Tally"]) -> Self:
        """Several tallies as one, slots in any order and shared ones added up."""
        slot = np.concatenate([part.slot for part in parts])
        order = np.argsort(slot, kind="stable")
        return cls(
            slot[order],
            np.concatenate([part.count for part in parts])[order],
            np.concatenate([part.total for part in parts])[order],
            np.concatenate([part.low for part in parts])[order],
            np.concatenate([part.high for part in parts])[order],
        ).gathered()

    def gathered(self) -> Self:
        """The same with neighbours of one slot put together, so that each slot stands once."""
        if not len(self.slot):
            return self
        first = np.flatnonzero(np.diff(self.slot, prepend=self.slot[0] - 1))
        return type(self)(
            self.slot[first],
            np.add.reduceat(self.count, first),
            np.add.reduceat(self.total, first),
            np.minimum.reduceat(self.low, first),
            np.maximum.reduceat(self.high, first),
        )

    def part(self, first: int, last: int, shift: int) -> Self:
        """The slots from the ``first`` to before the ``last``, renumbered."""
        chosen = slice(first, last)
        return type(self)(
            self.slot[chosen] + shift,
            self.count[chosen],
            self.total[chosen],
            self.low[chosen],
            self.high[chosen],
        )

    def without(self, gone: Flags) -> Self:
        """All but some of the slots."""
        if not gone.any():
            return self
        kept = ~gone
        return type(self)(
            self.slot[kept], self.count[kept], self.total[kept], self.low[kept], self.high[kept]
        )

    def drawn(self, width_s: int) -> Buckets:
        """As buckets, where a slot is the number of bucket widths since the epoch."""
        # Clipped: the sum of equal values divided by their number can miss them by a last digit.
        mean = np.clip(self.total / self.count, self.low, self.high)
        at_ms = self.slot * (width_s * SECOND_MS)
        return Buckets(width_s, at_ms, mean, self.low, self.high, self.count)


def _fits(start_ms: int, end_ms: int, points: int, width_s: int) -> bool:
    first_ms, last_ms = widened(start_ms, end_ms, width_s)
    return last_ms - first_ms <= max(points, 1) * width_s * SECOND_MS
