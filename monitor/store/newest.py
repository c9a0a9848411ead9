"""The newest reading of every series, kept in memory beside the engine."""

from collections.abc import Iterator, Mapping
from threading import Lock
from typing import NamedTuple

import numpy as np

from monitor.quality import FIRST_BAD, Reason
from monitor.store.readings import Codes, Flags, Floats, Ints, Latest, Readings

NEVER = -1


class Doubt(NamedTuple):
    """A series whose newest usable reading may lie in ``(after_ms, upto_ms]``: the file knows."""

    series: int
    after_ms: int
    upto_ms: int


class Newest:
    """Per series the newest reading that is not bad; columns are indexed by series id."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._seen_ms: Ints = np.empty(0, np.int64)
        self._at_ms: Ints = np.empty(0, np.int64)
        self._value: Floats = np.empty(0, np.float64)
        self._reason: Codes = np.empty(0, np.uint8)

    def note(self, readings: Readings) -> list[Doubt]:
        """Take notice of readings that were stored, in the order of their arrival.

        A reading later than all before it is new. Any other may be the repeat of one that was kept
        first: where it would matter, the series is returned in doubt.
        """
        order = np.lexsort((readings.at_ms, readings.series))
        series, at_ms = readings.series[order], readings.at_ms[order]
        first = (np.diff(series, prepend=NEVER) != 0) | (np.diff(at_ms, prepend=NEVER) != 0)
        order, series, at_ms = order[first], series[first], at_ms[first]
        good = readings.reason[order] < FIRST_BAD
        with self._lock:
            self._grow(int(series[-1]) + 1 if len(series) else 0)
            late = at_ms <= self._seen_ms[series]
            doubtful = np.unique(series[late & good & (at_ms > self._at_ms[series])])
            fresh = _last_of_each(series, good & ~late)
            self._at_ms[series[fresh]] = at_ms[fresh]
            self._value[series[fresh]] = readings.value[order[fresh]]
            self._reason[series[fresh]] = readings.reason[order[fresh]]
            end = _last_of_each(series, ~late)
            self._seen_ms[series[end]] = at_ms[end]
            return [
                Doubt(each, int(self._at_ms[each]), int(self._seen_ms[each]))
                for each in doubtful.tolist()
            ]

    def is_later(self, readings: Readings) -> Flags:
        """Which readings are later than all that was noted of their series."""
        with self._lock:
            self._grow(int(readings.series.max(initial=0)) + 1)
            later: Flags = readings.at_ms > self._seen_ms[readings.series]
            return later

    def settle(self, series: int, latest: Latest) -> None:
        """Resolve a doubt."""
        with self._lock:
            self._at_ms[series] = latest.at_ms
            self._value[series] = latest.value
            self._reason[series] = latest.reason

    def view(self) -> Mapping[int, Latest]:
        """All of them as of now."""
        with self._lock:
            return _View(self._at_ms.copy(), self._value.copy(), self._reason.copy())

    def _grow(self, size: int) -> None:
        more = size - len(self._at_ms)
        if more > 0:
            never = np.full(more, NEVER, np.int64)
            self._seen_ms = np.concatenate((self._seen_ms, never))
            self._at_ms = np.concatenate((self._at_ms, never))
            self._value = np.concatenate((self._value, np.zeros(more)))
            self._reason = np.concatenate((self._reason, np.zeros(more, np.uint8)))


class _View(Mapping[int, Latest]):
    """Columns as a mapping, an entry made only when it is asked for."""

    def __init__(self, at_ms: Ints, value: Floats, reason: Codes) -> None:
        self._at_ms, self._value, self._reason = at_ms, value, reason

    def __getitem__(self, series: int) -> Latest:
        if not 0 <= series < len(self._at_ms) or self._at_ms[series] == NEVER:
            raise KeyError(series)
        reason = Reason(int(self._reason[series]))
        return Latest(int(self._at_ms[series]), float(self._value[series]), reason)

    def __iter__(self) -> Iterator[int]:
        return iter(np.flatnonzero(self._at_ms != NEVER).tolist())

    def __len__(self) -> int:
        return int(np.count_nonzero(self._at_ms != NEVER))


def _last_of_each(series: Ints, among: Flags) -> Ints:
    """Places of the last chosen row of each series, rows being sorted by series."""
    places = np.flatnonzero(among)
    last: Ints = places[np.diff(series[places], append=NEVER) != 0]
    return last
