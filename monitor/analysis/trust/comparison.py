"""Probes of one zone held against each other: do they disagree, do they drift apart?

They share the air, so they share its water. Compared is the logarithm of the vapour pressure, hour
by hour, and told as %RH at the humidity there is. Two probes can only accuse one another; of three
the odd one out is known, and so is the one of two that was not calibrated.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from monitor.air.saturation import saturation_slope, saturation_vapour_pressure
from monitor.analysis.settling.regression import clipped, estimate
from monitor.analysis.trust.budget import TEMPERATURE_K, uncertainty_of
from monitor.analysis.trust.model import Advice, Check, Confidence, Floats, Ints, Past
from monitor.species.ranges import Zone
from monitor.times import DAY_MS

HOURS_PER_DAY = 24
RECENT_MS = 7 * DAY_MS
FEWEST_HOURS = 48
FEWEST_DAYS = 3
DAYS_SHARE = 0.8
"""Share of the days on which they must disagree, each by itself."""
ZONE_SHARE = 0.02
"""How much the vapour pressure may differ within one zone (own judgement)."""
CLEARLY = 1.5
"""So many times their uncertainty is no matter of chance any more."""
BETTER = 2.0
"""A probe is left alone that is so much surer than those it is compared with."""
DRIFT_DAYS = 20
DRIFT_RH = 1.5
"""%RH over four weeks."""
DRIFT_FLOOR_RH = 0.1
RISK = 0.025


class _Apart(NamedTuple):
    """How far a probe reads above the others of its zone, %RH, by hour."""

    hour: Ints
    above: Floats
    humidity: float
    temperature: float


def disagreement(past: Past, others: Sequence[Past], now_ms: int) -> Advice | None:
    """Whether a probe reads other than those of its zone, beyond all uncertainty, for days."""
    start_ms = now_ms - RECENT_MS
    apart = _apart(past.since(start_ms), [other.since(start_ms) for other in others])
    if apart is None or len(apart.hour) < FEWEST_HOURS:
        return None
    _, daily = _days(apart)
    own = uncertainty_of(past.certificate, apart.humidity, now_ms)
    theirs = float(
        np.median([uncertainty_of(each.certificate, apart.humidity, now_ms) for each in others])
    )
    if len(daily) < FEWEST_DAYS or theirs >= BETTER * own:
        return None
    steepness = float(
        saturation_slope(apart.temperature) / saturation_vapour_pressure(apart.temperature)
    )
    warmth = apart.humidity * steepness * TEMPERATURE_K
    allowed = float(
        np.sqrt(own**2 + theirs**2 + 2 * warmth**2 + (ZONE_SHARE * apart.humidity) ** 2)
    )
    above = float(np.median(apart.above))
    beyond = np.sign(above) * daily > allowed
    if abs(above) <= allowed or beyond.mean() < DAYS_SHARE:
        return None
    known = len(others) > 1 or own >= BETTER * theirs
    likely = known and abs(above) > CLEARLY * allowed
    against = " and ".join(other.probe for other in others)
    side = "more" if above > 0 else "less"
    return Advice(
        Check.DISAGREES,
        Confidence.LIKELY if likely else Confidence.POSSIBLE,
        {
            "above_pct": round(above, 2),
            "allowed_pct": round(allowed, 2),
            "hours": len(apart.hour),
        },
        f"It reads {abs(above):.1f} %RH {side} than {against} in the same air, for a week; "
        f"±{allowed:.1f} would be their uncertainty"
        + ("." if known else ", and which of the two is right nobody knows."),
        "Put them side by side for a day; if they still differ, calibrate "
        + ("it." if known else "both."),
    )


def drifting_apart(past: Past, others: Sequence[Past]) -> Advice | None:
    """Whether a probe moves away from the others of its zone, over weeks."""
    apart = _apart(past, others)
    if apart is None:
        return None
    day, daily = _days(apart)
    if len(daily) < DRIFT_DAYS:
        return None
    level = np.ones((1, len(day)))
    line = (day - day.mean())[np.newaxis].astype(np.float64)
    values = clipped(daily, DRIFT_FLOOR_RH)
    found = estimate(day.astype(np.float64), values, level, line, DRIFT_FLOOR_RH)
    if found is None:
        return None
    days = int(day[-1] - day[0])
    low, high = (days * each for each in found.interval(RISK))
    drift = days * found.value
    if abs(drift) < DRIFT_RH or low <= 0.0 <= high:
        return None
    against = " and ".join(other.probe for other in others)
    return Advice(
        Check.DRIFTS,
        Confidence.LIKELY if len(others) > 1 else Confidence.POSSIBLE,
        {"drift_pct": round(drift, 2), "low_pct": round(low, 2), "high_pct": round(high, 2)},
        f"Over {days} days it has moved by {drift:+.1f} %RH ({low:+.1f} to {high:+.1f}) against "
        f"{against} in the same air.",
        "Look for dirt or water on the sensor, then calibrate it"
        + ("." if len(others) > 1 else ", and the other one too."),
    )


def neighbours(past: Past, pasts: Sequence[Past]) -> list[Past]:
    """The other probes in the air of the same zone."""
    if past.zone is Zone.SUBSTRATE:
        return []
    return [other for other in pasts if other.zone is past.zone and other.probe != past.probe]


def _apart(past: Past, others: Sequence[Past]) -> _Apart | None:
    """A probe against the others, in the hours that all of them have.

    Against one other, or else against the median of all: half of three is not drawn aside by one.
    """
    if not others:
        return None
    tables = [each.hours() for each in (past, *others)]
    hour = tables[0][0]
    for number, _, _ in tables:
        hour = np.intersect1d(hour, number, assume_unique=True)
    if not len(hour):
        return None
    logs = np.array([log_e[np.isin(number, hour)] for number, log_e, _ in tables])
    middle = logs[1] if len(others) == 1 else np.median(logs, axis=0)
    number, _, humidity = tables[0]
    usual = float(np.median(humidity[np.isin(number, hour)]))
    return _Apart(hour, usual * (logs[0] - middle), usual, float(np.median(past.temperature)))


def _days(apart: _Apart) -> tuple[Ints, Floats]:
    """Number of the day since 1970 and median of its hours, of days with half their hours."""
    day = apart.hour // HOURS_PER_DAY
    number, count = np.unique(day, return_counts=True)
    whole = number[count >= HOURS_PER_DAY // 2]
    return whole, np.array([np.median(apart.above[day == each]) for each in whole])
