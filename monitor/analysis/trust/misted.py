"""What a misting tells of a probe: does it come to saturation, and how soon does it notice?

A misting is a test everyone makes several times a week: for some minutes the air about a wetted
probe is all but saturated.
"""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.air.moisture import vapour_pressure
from monitor.analysis.trust.budget import uncertainty_of
from monitor.analysis.trust.model import Advice, Check, Confidence, Past
from monitor.species.ranges import Zone
from monitor.times import MINUTE_MS

BEFORE_MS = 10 * MINUTE_MS
AFTER_MS = 45 * MINUTE_MS
FELT_RH = 5.0
"""A misting counts if the probe rose by so much, %RH."""
ROOM_RH = 93.0
"""%RH; from higher up there is nothing left to rise."""
SATURATED_RH = 95.0
"""%RH that some misting in weeks should bring."""
FEWEST = 8
SLOW_MS = 15 * MINUTE_MS
"""Until 63 % of the rise. Mist needs minutes to evaporate; more than this is the probe, or a cap on
it (own judgement)."""
LONGEST_PERIOD_S = 300.0
RISEN_SHARE = 0.632
FASTER = 0.5


class _Felt(NamedTuple):
    """One misting as a probe saw it; ``log_e`` of its highest humidity, e in kPa."""

    peak: float
    log_e: float
    lag_ms: float
    exact: bool


def never_saturated(past: Past, others: Sequence[Past], now_ms: int) -> Advice | None:
    """Whether all mistings of weeks left a probe short of 95 %RH.

    Where the zone has other probes it is held against the one that comes highest: if they agree, it
    is the air that stays short, or a warmer place in the same air.
    """
    felt = _felt(past)
    if len(felt) < FEWEST:
        return None
    highest = max(each.peak for each in felt)
    if highest >= SATURATED_RH:
        return None
    beside = [(other, peaks) for other in others if len(peaks := _felt(other)) >= FEWEST]
    against = ""
    if beside:
        other, peaks = max(beside, key=lambda each: _usual_log(each[1]))
        short = SATURATED_RH * (_usual_log(peaks) - _usual_log(felt))
        allowed = np.hypot(
            uncertainty_of(past.certificate, SATURATED_RH, now_ms),
            uncertainty_of(other.certificate, SATURATED_RH, now_ms),
        )
        if short <= allowed:
            return None
        against = f"; in the same air {other.probe} comes {short:.0f} %RH higher"
    return Advice(
        Check.NEVER_SATURATED,
        Confidence.LIKELY if beside else Confidence.POSSIBLE,
        {"mistings": len(felt), "highest_pct": round(highest, 1)},
        f"In {len(felt)} mistings that it felt it never reached {SATURATED_RH:g} %RH (highest "
        f"{highest:.1f}){against}.",
        "See whether the mist comes near it. If it does, calibrate it with potassium chloride or "
        "sulfate: it may read too low where it matters most.",
    )


def slow(past: Past, pasts: Sequence[Past]) -> Advice | None:
    """Whether a probe takes long to notice what a mister does."""
    lag_ms = _lag(past)
    if lag_ms is None or lag_ms <= SLOW_MS:
        return None
    others = [(lag, other) for other in pasts if other is not past and (lag := _lag(other))]
    faster = min(others, key=lambda each: each[0], default=None)
    likely = faster is not None and faster[0] < FASTER * lag_ms
    beside = f"; {faster[1].probe} needs {faster[0] / MINUTE_MS:.0f}" if faster and likely else ""
    return Advice(
        Check.SLOW,
        Confidence.LIKELY if likely else Confidence.POSSIBLE,
        {"lag_min": round(lag_ms / MINUTE_MS, 1)},
        f"It takes {lag_ms / MINUTE_MS:.0f} min to follow a misting{beside}.",
        "Clean its cap or filter, and see that air reaches it: what it tells of a dry spell comes "
        "as late.",
    )


def _lag(past: Past) -> float | None:
    """Median time to 63 % of the rise after mistings that a mister reported, ms."""
    if past.period_s > LONGEST_PERIOD_S:
        return None
    lags = [each.lag_ms for each in _felt(past) if each.exact]
    return float(np.median(lags)) if len(lags) >= FEWEST else None


def _felt(past: Past) -> list[_Felt]:
    if past.zone is Zone.SUBSTRATE:
        return []
    found = []
    times = [misting.at_ms for misting in past.mistings]
    for misting, until_ms in zip(past.mistings, [*times, None][1:], strict=True):
        end_ms = misting.at_ms + AFTER_MS
        if until_ms is not None:
            end_ms = min(end_ms, until_ms)
        first, start, last = np.searchsorted(
            past.at_ms, [misting.at_ms - BEFORE_MS, misting.at_ms, end_ms]
        )
        if start == first or last - start < 3:
            continue
        base = float(past.humidity[first:start].mean())
        after = past.humidity[start:last]
        top = int(np.argmax(after))
        peak = float(after[top])
        if base > ROOM_RH or peak - base < FELT_RH:
            continue
        log_e = math.log(vapour_pressure(float(past.temperature[start + top]), peak))
        risen = int(np.argmax(after >= base + RISEN_SHARE * (peak - base)))
        lag_ms = float(past.at_ms[start + risen] - misting.at_ms)
        found.append(_Felt(peak, log_e, lag_ms, misting.exact))
    return found


def _usual_log(felt: Sequence[_Felt]) -> float:
    return float(np.median([each.log_e for each in felt]))
