"""An enclosure whose air follows the balance exactly: what tests know to be true."""

import datetime as dt
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np

from monitor.air import saturation_vapour_pressure
from monitor.analysis.misting import Climate, Reported, Source
from monitor.analysis.misting.climate import density_per_kpa
from monitor.setup.daylight import Daylight
from monitor.times import DAY_MS, MINUTE_MS

START_MS = 1_790_812_800_000
"""1 October 2026, 00:00 UTC: a Thursday."""
LIGHTS = Daylight(dt.time(8), dt.time(20), ZoneInfo("UTC"))


@dataclass(frozen=True)
class Air:
    """How the air of an enclosure behaves; contents in g/m3, rates per hour."""

    rate: float = 1.5
    asymptote: float = 11.0
    dose: float = 4.0
    """What a misting of ten seconds adds."""
    lamp_k: float = 3.0
    noise_rh: float = 0.3
    noise_k: float = 0.03
    weather: float = 0.4
    """Standard deviation of the asymptote's slow course."""
    period_s: float = 60.0
    misted_h: tuple[float, ...] = (7.2, 10.5, 14.0, 18.6, 21.3, 1.4)
    """Hours of the day, a quarter of an hour to and fro."""
    opened_h: float | None = None
    """Hour at which the lid is opened and half of the surplus vapour is lost."""
    ground: float = field(default=0.3)
    """How far the asymptote follows the air's saturation."""


@dataclass(frozen=True)
class Story:
    """A record with its truth."""

    climate: Climate
    misted_ms: tuple[int, ...]
    end_ms: int

    def reported(self, every: int = 1) -> list[Reported]:
        """The mistings as a keeper logs them, or only each so many."""
        return [Reported(at_ms, 10.0, Source.JOURNAL) for at_ms in self.misted_ms[::every]]


def story(days: int, air: Air = Air(), seed: int = 0) -> Story:
    """Some days of an enclosure."""
    rng = np.random.default_rng(seed)
    period_ms = round(1000 * air.period_s)
    at_ms = START_MS + np.arange(0, days * DAY_MS, period_ms)
    step_h = air.period_s / 3600.0
    misted = sorted(
        START_MS + day * DAY_MS + round((hour + rng.uniform(-0.25, 0.25)) * 60) * MINUTE_MS
        for day in range(days)
        for hour in air.misted_h
    )
    lit = LIGHTS.is_day(at_ms)
    temperature = 22.0 + _follow(air.lamp_k * lit, 0.7, step_h)
    per_kpa = density_per_kpa(float(temperature.mean()))
    saturated = per_kpa * saturation_vapour_pressure(temperature)
    slow = _wander(rng, len(at_ms), 48.0, step_h) * air.weather
    aim = air.asymptote + air.ground * (saturated - saturated.mean()) + slow
    added = np.zeros(len(at_ms))
    added[[(each - START_MS) // period_ms for each in misted]] = air.dose
    opened = set()
    if air.opened_h is not None:
        opened = {round((24 * day + air.opened_h) / step_h) for day in range(days)}
    v, fade = air.asymptote, float(np.exp(-air.rate * step_h))
    content = np.empty(len(at_ms))
    for k in range(len(at_ms)):
        v = min(aim[k] + (v - aim[k]) * fade + added[k], saturated[k])
        if k in opened:
            v = aim[k] - 3.0
        content[k] = v
    humidity = 100.0 * content / saturated + air.noise_rh * rng.standard_normal(len(at_ms))
    told = temperature + air.noise_k * rng.standard_normal(len(at_ms))
    return Story(
        Climate(at_ms, told, np.minimum(humidity, 100.0)), tuple(misted), int(at_ms[-1]) + period_ms
    )


def _follow(target: np.ndarray, tau_h: float, step_h: float) -> np.ndarray:
    keep = float(np.exp(-step_h / tau_h))
    now, result = float(target[0]), np.empty(len(target))
    for k, value in enumerate(target):
        now = keep * now + (1.0 - keep) * float(value)
        result[k] = now
    return result


def _wander(rng: np.random.Generator, count: int, tau_h: float, step_h: float) -> np.ndarray:
    keep = float(np.exp(-step_h / tau_h))
    kicks = rng.standard_normal(count) * np.sqrt(1.0 - keep * keep)
    now, result = float(rng.standard_normal()), np.empty(count)
    for k in range(count):
        now = keep * now + kicks[k]
        result[k] = now
    return result
