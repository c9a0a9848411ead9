"""Derived series: what follows from the temperature and humidity of one probe at one time.

Shared by the engines. A time at which the formula has no answer (the dew point of air at 0 %RH) has
no reading.
"""

import numpy as np

from monitor.air import derive
from monitor.quantities import DERIVED_UNITS, Quantity
from monitor.store.readings import SeriesKey, Track

DERIVED = tuple(DERIVED_UNITS)
"""The derived quantities; their names are the fields of ``air.Derived``."""


def inputs(key: SeriesKey) -> tuple[SeriesKey, SeriesKey]:
    """The temperature and the humidity that a derived series follows from."""
    return key._replace(quantity=Quantity.TEMPERATURE), key._replace(quantity=Quantity.HUMIDITY)


def derived(quantity: Quantity, temperature: Track, humidity: Track) -> Track:
    """The derived quantity at each time that both tracks have; its reason is the worse one."""
    at_ms, t, h = np.intersect1d(
        temperature.at_ms, humidity.at_ms, assume_unique=True, return_indices=True
    )
    columns = derive(temperature.value[t], humidity.value[h])
    value = getattr(columns, quantity.value)
    reason = np.maximum(temperature.reason[t], humidity.reason[h])
    known = np.isfinite(value)
    return Track(at_ms[known], value[known], reason[known])
