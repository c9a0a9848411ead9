"""A probe's recent past, as the analyses want it."""

import numpy as np

from monitor.analysis.courses import History
from monitor.quality import FIRST_BAD, Reason
from monitor.quantities import Quantity
from monitor.setup.models import Probe
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.times import DAY_MS

DAYS = 8
"""Causes and forecasts compare with the same hour of about a week."""


def history_of(readings: ReadingStore, place: str, probe: Probe, until_ms: int) -> History:
    """The last days of a probe up to and with ``until_ms``, where it gave both values."""
    temperature, humidity = (
        readings.track(SeriesKey(place, probe.id, quantity), until_ms - DAYS * DAY_MS, until_ms + 1)
        for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
    )
    at_ms, first, second = np.intersect1d(
        temperature.at_ms, humidity.at_ms, assume_unique=True, return_indices=True
    )
    worst = np.maximum(temperature.reason[first], humidity.reason[second])
    usable = (worst < FIRST_BAD) & (worst != Reason.AWAY)
    return History(
        at_ms[usable],
        temperature.value[first][usable],
        humidity.value[second][usable],
        probe.period_s,
    )
