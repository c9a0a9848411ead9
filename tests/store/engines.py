"""What the suite of the engines is written with: a store, and a probe that keeps readings."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import count

import numpy as np
import numpy.typing as npt

from monitor.quantities import Quantity
from monitor.store.readings import Buckets, Latest, Readings, ReadingStore, SeriesKey, Track

START_MS = 1_788_220_800_000
"""2026-09-01T00:00:00Z, where the time of these tests begins."""

_places = count(1)


@dataclass(frozen=True)
class Engine:
    """A store under test, and how to wait until what was written can be read."""

    store: ReadingStore
    settle: Callable[[], None] = lambda: None


class Probe:
    """A probe of an enclosure of its own, so that tests and examples can share one store."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.store = engine.store
        self._key = SeriesKey(f"place-{next(_places)}", "canopy", Quantity.TEMPERATURE)

    def key(self, quantity: Quantity = Quantity.TEMPERATURE) -> SeriesKey:
        """The series of a quantity of this probe."""
        return self._key._replace(quantity=quantity)

    def series(self, quantity: Quantity = Quantity.TEMPERATURE) -> int:
        """The id of a measured series."""
        return self.store.series_ids([self.key(quantity)])[0]

    def readings(
        self,
        at_ms: npt.ArrayLike,
        value: npt.ArrayLike,
        reason: npt.ArrayLike = 0,
        quantity: Quantity = Quantity.TEMPERATURE,
    ) -> Readings:
        """Readings of one quantity; times count from START_MS."""
        at = np.atleast_1d(np.asarray(at_ms, np.int64)) + START_MS
        return Readings(
            np.full(len(at), self.series(quantity)),
            at,
            np.broadcast_to(np.asarray(value, np.float64), at.shape).copy(),
            np.broadcast_to(np.asarray(reason, np.uint8), at.shape).copy(),
        )

    def keep(
        self,
        at_ms: npt.ArrayLike,
        value: npt.ArrayLike,
        reason: npt.ArrayLike = 0,
        quantity: Quantity = Quantity.TEMPERATURE,
    ) -> None:
        """Append readings of one quantity and wait until they can be read."""
        self.store.append(self.readings(at_ms, value, reason, quantity))
        self.engine.settle()

    def tidy(self, at_ms: int) -> None:
        """Let the store do its housekeeping at a time counted from START_MS."""
        self.store.tidy(START_MS + at_ms)
        self.engine.settle()

    def track(self, start_ms: int, end_ms: int, quantity: Quantity = Quantity.TEMPERATURE) -> Track:
        """A track between times that count from START_MS."""
        return self.store.track(self.key(quantity), START_MS + start_ms, START_MS + end_ms)

    def buckets(
        self, start_ms: int, end_ms: int, points: int, quantity: Quantity = Quantity.TEMPERATURE
    ) -> Buckets:
        """Buckets between times that count from START_MS."""
        key = self.key(quantity)
        return self.store.buckets(key, START_MS + start_ms, START_MS + end_ms, points)

    def latest(self, quantity: Quantity = Quantity.TEMPERATURE) -> Latest | None:
        """The newest usable reading of a series, if there is one."""
        return self.store.latest().get(self.series(quantity))
