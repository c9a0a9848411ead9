"""Many series at once: a room page shows hundreds, each in the same buckets."""

from collections.abc import Iterable, Mapping
from typing import Protocol, runtime_checkable

from monitor.store.buckets import widened
from monitor.store.readings import Buckets, ReadingStore, SeriesKey
from monitor.times import SECOND_MS


@runtime_checkable
class ReadsMany(Protocol):
    """An engine that reads many series faster together than one by one."""

    def many(
        self, keys: Iterable[SeriesKey], start_ms: int, end_ms: int, width_s: int
    ) -> Mapping[SeriesKey, Buckets]:
        """What :func:`many` promises."""
        ...


def many(
    store: ReadingStore, keys: Iterable[SeriesKey], start_ms: int, end_ms: int, width_s: int
) -> Mapping[SeriesKey, Buckets]:
    """Measured series from start to end in buckets of one width, which divides an hour.

    As ``ReadingStore.buckets``, from an engine that cannot do better; series without a reading may
    be absent.
    """
    if isinstance(store, ReadsMany):
        return store.many(keys, start_ms, end_ms, width_s)
    start_ms, end_ms = widened(start_ms, end_ms, width_s)
    points = (end_ms - start_ms) // (width_s * SECOND_MS)
    return {key: store.buckets(key, start_ms, end_ms, points) for key in keys}
