"""A sensor with water on it reads 100 % whatever the air does.

So may a probe in a fog. What tells them apart: air that warms without drying needs water to
evaporate as fast, and a probe beside it that is not wet reads less.
"""

from collections.abc import Sequence

import numpy as np

from monitor.analysis.trust.model import Advice, Check, Confidence, Past
from monitor.species.ranges import Zone
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS

RECENT_MS = 7 * DAY_MS
FULL_RH = 99.5
LONG_MS = 6 * HOUR_MS
VERY_LONG_MS = DAY_MS
GAP_MS = 30 * MINUTE_MS
WARMED_K = 1.5
"""K; it takes saturated air to about 91 %RH if nothing evaporates."""
DRIER_LOG = 0.05
"""ln e by which a neighbour's air must hold less water."""


def soaked(past: Past, pasts: Sequence[Past], now_ms: int) -> Advice | None:
    """Whether a probe stood at 100 % so long that it is the sensor which is wet."""
    recent = past.since(now_ms - RECENT_MS)
    run = _longest(recent)
    if past.zone is Zone.SUBSTRATE or run is None:
        return None
    start_ms, end_ms = run
    there = (recent.at_ms >= start_ms) & (recent.at_ms <= end_ms)
    temperature = recent.temperature[there]
    warmed = float(np.max(temperature - np.minimum.accumulate(temperature)))
    drier = [
        other.probe
        for other in pasts
        if other.zone is past.zone
        and other.probe != past.probe
        and _is_drier(recent, other, start_ms, end_ms)
    ]
    long_ms = end_ms - start_ms
    if long_ms < LONG_MS or not (warmed >= WARMED_K or drier or long_ms >= VERY_LONG_MS):
        return None
    hours = long_ms / HOUR_MS
    signs = []
    if warmed >= WARMED_K:
        signs.append(f"through {warmed:.1f} K of warming")
    if drier:
        signs.append(f"with drier air at {drier[0]} beside it")
    return Advice(
        Check.SOAKED,
        Confidence.LIKELY if drier or len(signs) > 1 else Confidence.POSSIBLE,
        {"hours": round(hours, 1), "warmed_k": round(warmed, 1)},
        " ".join([f"It stood at 100 %RH for {hours:.0f} h", *signs]) + ".",
        "Dry it, or hang it where no drop falls on it. Until then its humidity tells nothing.",
    )


def _longest(past: Past) -> tuple[int, int] | None:
    """Start and end of the longest time at the end of the scale."""
    full = past.humidity >= FULL_RH
    if not full.any():
        return None
    breaks = np.diff(past.at_ms) > GAP_MS
    part = np.cumsum(np.concatenate([[True], breaks | (full[1:] != full[:-1])]))
    best = None
    for number in np.unique(part[full]):
        times = past.at_ms[part == number]
        run = int(times[0]), int(times[-1])
        if best is None or run[1] - run[0] > best[1] - best[0]:
            best = run
    return best


def _is_drier(past: Past, other: Past, start_ms: int, end_ms: int) -> bool:
    hour, own, _ = past.hours()
    number, theirs, _ = other.hours()
    common = np.intersect1d(hour, number, assume_unique=True)
    common = common[(common * HOUR_MS >= start_ms) & ((common + 1) * HOUR_MS <= end_ms)]
    if not len(common):
        return False
    less = own[np.isin(hour, common)] - theirs[np.isin(number, common)]
    return bool(np.median(less) > DRIER_LOG)
