"""Made-up records of a probe: a daily course of vapour and temperature, and what happens to it."""

from collections.abc import Callable

import numpy as np
import psychrolib
from numpy.typing import NDArray

from monitor.analysis.causes import History
from monitor.times import DAY_MS, HOUR_MS

psychrolib.SetUnitSystem(psychrolib.SI)

Column = NDArray[np.float64]
NOW_MS = 20_500 * DAY_MS + 15 * HOUR_MS
"""15:00 UTC on a day in February 2026."""


def saturated(temperature: Column) -> Column:
    """Saturation vapour pressure by PsychroLib, kPa."""
    return np.array([psychrolib.GetSatVapPres(t) for t in temperature.tolist()]) / 1000.0


def usual_temperature(hours: Column) -> Column:
    """24 Cel, two warmer at 14:00 than at 02:00."""
    return 24.0 + np.cos(2.0 * np.pi * (hours - 14.0) / 24.0)


def usual_vapour(hours: Column) -> Column:
    """kPa: three mistings a day (06, 12, 18 o'clock), each dried off within some hours."""
    return 1.9 + 0.3 * np.exp(-((hours % 6.0) / 2.0))


def record(
    *,
    days: float = 8.0,
    now_ms: int = NOW_MS,
    period_s: float = 60.0,
    temperature: Callable[[Column, Column], Column] = lambda t, _: t,
    vapour: Callable[[Column, Column], Column] = lambda e, _: e,
    noise: float = 0.0,
) -> History:
    """Readings up to ``now_ms``; the callables change the usual course, given hours before now."""
    at_ms = np.arange(
        now_ms - round(days * DAY_MS), now_ms + 1, round(1000 * period_s), dtype=np.int64
    )
    hours, ago = (at_ms % DAY_MS) / HOUR_MS, (now_ms - at_ms) / HOUR_MS
    rng = np.random.default_rng(7)
    # Days differ a little: 1 % of vapour, 0.1 K.
    day = (at_ms // DAY_MS - at_ms[0] // DAY_MS).astype(np.intp)
    moist, warm = rng.normal(0.0, 0.01, day.max() + 1), rng.normal(0.0, 0.1, day.max() + 1)
    t = temperature(usual_temperature(hours) + warm[day], ago)
    e = vapour(usual_vapour(hours) * np.exp(moist[day]), ago)
    humidity = 100.0 * e / saturated(t) + rng.normal(0.0, noise, len(at_ms))
    return History(at_ms, t, np.clip(humidity, 0.0, 100.0), period_s)


def since(hours: float) -> int:
    """Epoch ms that many hours before now."""
    return NOW_MS - round(hours * HOUR_MS)
