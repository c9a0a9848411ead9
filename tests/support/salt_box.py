"""A probe that stands in a salt box, as the store has it."""

import numpy as np

from monitor.quantities import Quantity
from monitor.setup.models import Correction
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.readings import SqliteReadings
from monitor.times import HOUR_MS, MINUTE_MS


def stand_in_box(
    readings: SqliteReadings,
    since_ms: int,
    hours: float,
    raw: float,
    *,
    correction: Correction | None = None,
    address: tuple[str, str] = ("cork-cube", "canopy"),
    temperature: float = 20.0,
) -> None:
    """A reading a minute that is near ``raw``, stored as the correction in force makes it."""
    by = Correction() if correction is None else correction
    at_ms = np.arange(since_ms + MINUTE_MS, since_ms + round(HOUR_MS * hours) + 1, MINUTE_MS)
    noise = 0.05 * np.random.default_rng(1).standard_normal(len(at_ms))
    humidity = np.clip(np.round(by.gain * (raw + noise) + by.offset, 3), 0.0, 100.0)
    for quantity, value in (
        (Quantity.HUMIDITY, humidity),
        (Quantity.TEMPERATURE, np.full(len(at_ms), temperature)),
    ):
        (series,) = readings.series_ids([SeriesKey(*address, quantity)])
        count = len(at_ms)
        readings.backfill(Readings(np.full(count, series), at_ms, value, np.zeros(count, np.uint8)))
