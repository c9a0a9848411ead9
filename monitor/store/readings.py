"""The memory for readings: what every engine must do, and the columns that pass through it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
import numpy.typing as npt

from monitor.errors import StoreError
from monitor.quality import Reason
from monitor.quantities import Quantity

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]


class SeriesKey(NamedTuple):
    """Names one stored series. ``place`` is the id of an enclosure or of a room."""

    place: str
    probe: str
    quantity: Quantity


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of many series as columns of equal length, in any order.

    ``series``: ids given by :meth:`ReadingStore.series_ids`; ``at_ms``: epoch milliseconds UTC;
    ``value``: finite, in the quantity's unit, calibrated; ``reason``: a ``quality.Reason`` code.
    """

    series: Ints
    at_ms: Ints
    value: Floats
    reason: Codes

    def __len__(self) -> int:
        return len(self.series)

    def part(self, chosen: slice | Ints | Flags) -> "Readings":
        """Some of the readings."""
        return Readings(
            self.series[chosen], self.at_ms[chosen], self.value[chosen], self.reason[chosen]
        )


@dataclass(frozen=True, slots=True)
class Track:
    """One series over a span: columns sorted by time, each time once."""

    at_ms: Ints
    value: Floats
    reason: Codes

    def __len__(self) -> int:
        return len(self.at_ms)

    def between(self, start_ms: int, end_ms: int) -> "Track":
        """The part with ``start_ms <= at < end_ms``."""
        first, last = np.searchsorted(self.at_ms, [start_ms, end_ms])
        return Track(self.at_ms[first:last], self.value[first:last], self.reason[first:last])


class Latest(NamedTuple):
    """The newest reading of a series."""

    at_ms: int
    value: float
    reason: Reason


@dataclass(frozen=True, slots=True)
class Buckets:
    """A series drawn small: per bucket its start, mean, lowest, highest and number of readings.

    ``resolution_s`` is the width of a bucket; 0 means raw readings (mean = low = high, count = 1).
    Bad readings are left out, empty buckets are absent. Every bucket is exact: it covers exactly
    ``[at_ms, at_ms + 1000 x resolution_s)``, bucket starts are whole multiples of the width since
    the epoch, and the first and last may reach beyond what was asked for.
    """

    resolution_s: int
    at_ms: Ints
    mean: Floats
    low: Floats
    high: Floats
    count: Ints


class ReadingStore(Protocol):
    """A time-series engine.

    A reading is told apart by (series, at_ms): the first one kept wins, a repeat changes nothing.
    Methods raise ``StoreUnavailable`` when the engine cannot answer just now (caller keeps and
    retries) and ``StoreError`` when it never will.
    """

    def series_ids(self, keys: Sequence[SeriesKey]) -> list[int]:
        """Ids of measured series, in the order asked, making those that are new."""
        ...

    def known_series(self) -> Mapping[SeriesKey, int]:
        """All measured series that exist."""
        ...

    def append(self, readings: Readings) -> None:
        """Keep readings; durable when the surrounding transaction has committed.

        An engine that is a server of its own has them only after :meth:`flush`.
        """
        ...

    def flush(self) -> None:
        """Return once the engine has all that was committed; only then acknowledge it."""
        ...

    def backfill(self, readings: Readings) -> None:
        """Keep many old readings at once, for imports; may be called from another process."""
        ...

    def latest(self) -> Mapping[int, Latest]:
        """The newest reading of every series that is not bad, by series id."""
        ...

    def refresh(self) -> None:
        """Take notice of what other processes have written since."""
        ...

    def track(self, key: SeriesKey, start_ms: int, end_ms: int) -> Track:
        """All readings of a measured or derived series with ``start_ms <= at < end_ms``.

        A derived quantity is computed for each time at which the probe has both temperature and
        humidity; its reason is the larger (worse) of the two.
        """
        ...

    def buckets(self, key: SeriesKey, start_ms: int, end_ms: int, points: int) -> Buckets:
        """The series from start to end in at most ``points`` buckets, or raw if that few readings.

        Derived quantities are computed per reading and then bucketed, never from averaged inputs.
        """
        ...

    def tidy(self, now_ms: int) -> None:
        """Housekeeping that may be called at any time, cheap when there is nothing to do."""
        ...

    def expire(self, before_ms: int) -> int:
        """Forget raw readings older than ``before_ms`` (long-range buckets stay); how many went."""
        ...


def refuse_impossible(readings: Readings, highest_id: int, end_of_time_ms: int) -> None:
    """Refuse a batch in which a reading could never be read back.

    Raises:
        StoreError: names the first that is wrong.
    """
    for wrong, says in (
        (~np.isfinite(readings.value), "only finite numbers can be stored"),
        ((readings.at_ms < 0) | (readings.at_ms >= end_of_time_ms), "no time of this era"),
        ((readings.series < 1) | (readings.series > highest_id), "no such series"),
    ):
        if wrong.any():
            n = int(np.argmax(wrong))
            raise StoreError(
                f"series {readings.series[n]}, {readings.at_ms[n]} ms, "
                f"value {readings.value[n]}: {says}"
            )
