"""Day and night in an enclosure: what its lamp timer makes of the local clock.

The timer follows the wall clock. A switch happens at the first instant at which the wall clock
reads its time *or later*: a time skipped in spring is switched when the clock jumps over it, a
time that comes twice in autumn the first time only. Day lasts from lights on to lights off; with
``lights_off`` before ``lights_on`` it spans midnight; with both equal the lamp is never switched
and it is always day.
"""

import datetime as dt
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from monitor.times import DAY_MS

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

EARLIEST_MS = 0
LATEST_MS = 7_258_118_400_000
"""Times outside 1970 to 2200 have no daylight of their own: the nearer end answers for them."""

_BLOCK_MS = 32 * DAY_MS
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MS = dt.timedelta(milliseconds=1)


class Segments(NamedTuple):
    """Whole days and nights: ``day[i]`` holds from ``edge_ms[i]`` up to, not at, ``edge_ms[i+1]``.

    Neighbours differ. The first starts at or before what was asked for, the last ends after it.
    """

    edge_ms: Ints
    day: Bools


class Segment(NamedTuple):
    """One whole day or night: from ``start_ms`` up to, not at, ``end_ms``."""

    start_ms: int
    end_ms: int
    day: bool


def reached_ms(wall: dt.datetime, zone: ZoneInfo) -> int:
    """The first instant, epoch ms, at which the wall clock of ``zone`` reads ``wall`` or later."""
    here = wall.replace(tzinfo=zone)
    first = (here - _EPOCH) // _MS
    second = (here.replace(fold=1) - _EPOCH) // _MS
    if first <= second:
        return first
    # A skipped time (PEP 495): the jump lies between the two readings of it.
    before, after = second, first
    while after - before > 1:
        middle = (before + after) // 2
        read = (_EPOCH + middle * _MS).astimezone(zone).replace(tzinfo=None)
        before, after = (before, middle) if read >= wall else (middle, after)
    return after


@dataclass(frozen=True, slots=True)
class Daylight:
    """The lamp timer of one enclosure: two wall-clock times in its time zone.

    Raises:
        ValueError: a time carries an offset of its own.
    """

    lights_on: dt.time
    lights_off: dt.time
    zone: ZoneInfo

    def __post_init__(self) -> None:
        for name, time in (("lights_on", self.lights_on), ("lights_off", self.lights_off)):
            if time.tzinfo is not None:
                raise ValueError(
                    f"{name} {time.isoformat()} has an offset; write the wall-clock time alone, "
                    f"it is read in {self.zone.key}"
                )

    def segments(self, start_ms: int, end_ms: int) -> Segments:
        """The days and nights that cover ``start_ms`` to ``end_ms``, both included."""
        start_ms, end_ms = (min(max(at, EARLIEST_MS), LATEST_MS) for at in (start_ms, end_ms))
        if self.lights_on == self.lights_off:
            far = np.iinfo(np.int64)
            return Segments(np.array([far.min, far.max]), np.array([True]))
        edges: list[int] = []
        days: list[bool] = []
        for at_ms, day in self._switches(start_ms, end_ms):
            # Two switches at one instant lie in one jump of the clock: only the later one shows.
            while edges and edges[-1] >= at_ms:
                edges.pop()
                days.pop()
            if not days or days[-1] != day:
                edges.append(at_ms)
                days.append(day)
        edge_ms = np.array(edges)
        first = int(np.searchsorted(edge_ms, start_ms, side="right")) - 1
        last = int(np.searchsorted(edge_ms, end_ms, side="right"))
        return Segments(edge_ms[first : last + 1], np.array(days[first:last]))

    def segment(self, at_ms: int) -> Segment:
        """The day or night that ``at_ms`` lies in."""
        at_ms = min(max(at_ms, EARLIEST_MS), LATEST_MS)
        edge_ms, day = _listed(self, at_ms // _BLOCK_MS)
        n = bisect_right(edge_ms, at_ms) - 1
        return Segment(edge_ms[n], edge_ms[n + 1], day[n])

    def is_day(self, at_ms: Ints) -> Bools:
        """Whether it is day, for each of an array of times in any order."""
        at_ms = np.clip(at_ms, EARLIEST_MS, LATEST_MS)
        block = at_ms // _BLOCK_MS
        result = np.empty(len(at_ms), dtype=np.bool_)
        for number in np.unique(block):
            here = block == number
            edge_ms, day = _block(self, int(number))
            result[here] = day[np.searchsorted(edge_ms, at_ms[here], side="right") - 1]
        return result

    def _switches(self, start_ms: int, end_ms: int) -> list[tuple[int, bool]]:
        """Switches in order of time, from well before start to well after end.

        Two calendar days to either side leave at least one switch even where a zone skipped a
        whole day to change sides of the date line.
        """
        margin = dt.timedelta(days=2)
        date = (_EPOCH + start_ms * _MS).astimezone(self.zone).date() - margin
        last = (_EPOCH + end_ms * _MS).astimezone(self.zone).date() + margin
        of_a_day = sorted([(self.lights_on, True), (self.lights_off, False)])
        switches = []
        while date <= last:
            for wall, day in of_a_day:
                switches.append((reached_ms(dt.datetime.combine(date, wall), self.zone), day))
            date += dt.timedelta(days=1)
        return switches


@lru_cache(maxsize=4096)
def _block(daylight: Daylight, number: int) -> Segments:
    """The days and nights of one stretch of 32 days, counted from the epoch."""
    start_ms = number * _BLOCK_MS
    return daylight.segments(start_ms, start_ms + _BLOCK_MS - 1)


@lru_cache(maxsize=4096)
def _listed(daylight: Daylight, number: int) -> tuple[list[int], list[bool]]:
    """The same as plain numbers: to look a single time up, an array is slow."""
    edge_ms, day = _block(daylight, number)
    return edge_ms.tolist(), day.tolist()


class Daylights:
    """Many daylights asked at once; each remembers the day or night it last looked up.

    Readings that arrive live all lie in the remembered stretch, so the answer costs a few array
    look-ups however many different timers there are.
    """

    def __init__(self, daylights: Sequence[Daylight]) -> None:
        self._daylights = tuple(daylights)
        self._start_ms = np.zeros(len(self._daylights), dtype=np.int64)
        self._end_ms = np.zeros(len(self._daylights), dtype=np.int64)
        self._day = np.zeros(len(self._daylights), dtype=np.bool_)

    def is_day(self, which: Ints, at_ms: Ints) -> Bools:
        """Whether it is day by the ``which``-th daylight, element by element."""
        day = self._day[which]
        missed = (at_ms < self._start_ms[which]) | (at_ms >= self._end_ms[which])
        if not missed.any():
            return day
        for n in np.unique(which[missed]).tolist():
            here = missed & (which == n)
            day[here] = self._daylights[n].is_day(at_ms[here])
            newest = self._daylights[n].segment(int(at_ms[here].max()))
            self._start_ms[n], self._end_ms[n], self._day[n] = newest
        return day
