"""The climate at a probe now: its newest readings and what follows from them."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from monitor.air import derive
from monitor.quality import Quality
from monitor.quantities import DERIVED_UNITS, Quantity, unit_of
from monitor.setup.models import Probe
from monitor.store.readings import Latest
from monitor.times import rfc3339


def probe_now(probe: Probe, measured: Mapping[Quantity, Latest]) -> dict[str, Any]:
    """One probe as the API gives it; quantities it never gave are absent.

    Derived quantities are there when temperature and humidity belong together: readings further
    apart than a period would give the dew point of no air that ever was.
    """
    now: dict[str, Any] = {
        "probe": probe.id,
        "zone": probe.zone,
        "at": rfc3339(max(r.at_ms for r in measured.values())) if measured else None,
    }
    for quantity, reading in measured.items():
        now[quantity] = _value(quantity, reading.value, reading.reason.quality)
    temperature = measured.get(Quantity.TEMPERATURE)
    humidity = measured.get(Quantity.HUMIDITY)
    if temperature is None or humidity is None:
        return now
    if abs(temperature.at_ms - humidity.at_ms) > 1000 * probe.period_s:
        return now
    quality = max(temperature.reason, humidity.reason).quality
    derived = derive(np.array([temperature.value]), np.array([humidity.value]))
    for quantity in DERIVED_UNITS:
        now[quantity] = _value(quantity, float(getattr(derived, quantity)[0]), quality)
    return now


def _value(quantity: Quantity, value: float, quality: Quality) -> dict[str, Any]:
    # Air without any water has no dew point.
    shown = round(value, 4) if np.isfinite(value) else None
    return {"value": shown, "unit": unit_of(quantity), "quality": quality}
