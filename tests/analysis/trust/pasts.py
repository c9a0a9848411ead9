"""Made-up weeks of probes: a daily course, mistings, and what is wrong with a probe."""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from monitor.analysis.trust import Misting, Past
from monitor.setup.calibration import Certificate, Drift
from monitor.setup.models import Correction
from monitor.species.ranges import Zone
from monitor.times import DAY_MS, HOUR_MS
from tests.analysis.records import saturated

Column = NDArray[np.float64]
NOW_MS = 20_500 * DAY_MS
DAYS = 28
PERIOD_MS = 300_000
LAG_H = 0.05


def past(
    probe: str,
    *,
    zone: Zone = Zone.CANOPY,
    wrong: Callable[[Column, Column], Column] = lambda rh, _: rh,
    warmer: float = 0.0,
    lag_h: float = LAG_H,
    certificate: Certificate | None = None,
    peak: float = 1.0,
    seed: int = 1,
) -> Past:
    """A probe in air that is misted at 7 and 19 o'clock to near saturation.

    ``wrong`` changes what the probe says, given the day before now; ``warmer``: the probe's place,
    K, in the same air; ``peak``: the share of saturation a misting comes to.
    """
    at_ms = NOW_MS - np.arange(DAYS * DAY_MS // PERIOD_MS, dtype=np.int64)[::-1] * PERIOD_MS
    hour = (at_ms % DAY_MS) / HOUR_MS
    chance = np.random.default_rng(seed)
    temperature = 23.0 + 2.0 * np.cos(2.0 * np.pi * (hour - 14.0) / 24.0)
    since = np.minimum((hour - 7.0) % 24.0, (hour - 19.0) % 24.0)
    e = 0.7 * saturated(np.full(1, 23.0))[0] * np.ones(len(at_ms))
    full = peak * saturated(temperature)
    wet = (1.0 - np.exp(-since / lag_h)) * np.exp(-since / 2.0)
    e += np.maximum(full - e, 0.0) * wet
    here = temperature + warmer
    rh = 100.0 * e / saturated(here) + 0.2 * chance.standard_normal(len(at_ms))
    rh = np.clip(wrong(rh, (NOW_MS - at_ms) / DAY_MS), 0.0, 100.0)
    return Past(
        probe, zone, PERIOD_MS / 1000, at_ms, here, np.round(rh, 1), mistings(), certificate
    )


def mistings() -> Sequence[Misting]:
    """At 7 and 19 o'clock, as a mister reports."""
    first = NOW_MS - DAYS * DAY_MS
    return [
        Misting(first + day * DAY_MS + hour * HOUR_MS, exact=True)
        for day in range(DAYS)
        for hour in (7, 19)
    ]


def certificate(
    *, days_ago: int = 30, due_in: int = 335, drift: Drift | None = None
) -> Certificate:
    """A good one."""
    return Certificate(
        made_ms=NOW_MS - days_ago * DAY_MS,
        due_ms=NOW_MS + due_in * DAY_MS,
        points=(),
        gain=1.0,
        u_gain=0.02,
        offset=0.0,
        u_offset=0.7,
        uncertainty=(0.8,) * 11,
        before=Correction(),
        drift=drift,
        says="",
    )
