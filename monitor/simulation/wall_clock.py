"""Local wall clock over arrays of epoch milliseconds: what o'clock it is and when a time comes."""

import datetime as dt
from collections.abc import Iterable
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

HOUR_MS = 3_600_000
DAY_S = 86_400


def seconds_of_day(at_ms: NDArray[np.int64], clock: ZoneInfo) -> NDArray[np.float64]:
    """Local seconds since midnight for each time (UTC offsets are taken at full UTC hours)."""
    hours, where = np.unique(at_ms // HOUR_MS, return_inverse=True)
    offsets = np.array([_offset_s(int(hour) * HOUR_MS, clock) for hour in hours])
    seconds: NDArray[np.float64] = (at_ms / 1000 + offsets[where]) % DAY_S
    return seconds


def between(seconds: NDArray[np.float64], on: dt.time, off: dt.time) -> NDArray[np.bool_]:
    """Where a local time of day lies in [on, off); a span may run over midnight."""
    first, last = _seconds(on), _seconds(off)
    if first <= last:
        return (seconds >= first) & (seconds < last)
    return (seconds >= first) | (seconds < last)


def occurrences(times: Iterable[dt.time], clock: ZoneInfo, start_ms: int, end_ms: int) -> list[int]:
    """Epoch milliseconds in [start_ms, end_ms) at which those local times come, in order."""
    times = tuple(times)
    day = _local(start_ms, clock).date() - dt.timedelta(days=1)
    last = _local(end_ms, clock).date()
    found: set[int] = set()
    while day <= last:
        found.update(
            round(dt.datetime.combine(day, time, clock).timestamp() * 1000) for time in times
        )
        day += dt.timedelta(days=1)
    return sorted(at_ms for at_ms in found if start_ms <= at_ms < end_ms)


def _local(at_ms: int, clock: ZoneInfo) -> dt.datetime:
    return dt.datetime.fromtimestamp(at_ms / 1000, clock)


def _offset_s(at_ms: int, clock: ZoneInfo) -> float:
    offset = _local(at_ms, clock).utcoffset()
    return offset.total_seconds() if offset is not None else 0.0


def _seconds(time: dt.time) -> int:
    return time.hour * 3600 + time.minute * 60 + time.second
