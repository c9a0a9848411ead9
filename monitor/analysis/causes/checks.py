"""Signs that a probe cannot be believed, whatever the air does; looked for before anything else."""

import numpy as np

from monitor.analysis.causes.evidence import Evidence, Side
from monitor.analysis.courses import LONGEST_GAP_MS, History
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS

NO_AIR_HUMIDITY = 1.0
"""%RH at or below which no living enclosure is: an open or shorted sensor."""
SILENT_PERIODS = 3.0
"""So many reports must be missing, and half an hour."""
STUCK_MS = HOUR_MS
STUCK_READINGS = 10
STUCK_FACTOR = 3.0
"""A value must stand so many times longer than it ever did before."""
WET_HUMIDITY = 97.0
"""%RH; near saturation a reading may well stand still, or jump when the sensor dries."""
JUMP_RH = 6.0
"""%RH from one reading to the next that air does not do: the lid off would need minutes for it."""
JUMP_WITHIN_MS = 90_000
JUMP_SHARE = 0.85
"""So much of the fall from ten minutes before to ten minutes after must lie in that one step."""
JUMP_AROUND_MS = 10 * MINUTE_MS
JUMP_READINGS = 3


def failure(probe: History, now_ms: int) -> str | None:
    """What rules a probe out for certain, as a sentence; None if nothing does."""
    silence_ms = max(LONGEST_GAP_MS, round(1000 * SILENT_PERIODS * probe.period_s))
    recent = probe.between(now_ms - silence_ms, now_ms)
    humidity = recent.humidity[np.isfinite(recent.humidity)]
    if not len(humidity):
        return f"The probe has given no humidity for {silence_ms // MINUTE_MS} min."
    if humidity[-1] <= NO_AIR_HUMIDITY:
        return f"The probe reports {humidity[-1]:.1f} %RH, which no enclosure's air has."
    if not np.isfinite(recent.temperature[-1:]).all():
        return "The probe gives humidity but no temperature."
    hours = _stuck_ms(probe.between(now_ms - 7 * DAY_MS, now_ms)) / HOUR_MS
    if hours > 0.0:
        return f"The probe has repeated the same values for {hours:.1f} hours."
    return None


def jump(evidence: Evidence) -> float | None:
    """How far humidity fell from one reading to the next in the last day, %RH, if no air does that.

    Only falls tell: a misting does raise it at once. The newest one counts that was steep, stayed,
    and was nearly all of the fall about that time.
    """
    if evidence.side is Side.HIGH:
        return None
    day = evidence.target.between(evidence.now_ms - DAY_MS, evidence.now_ms)
    known = np.isfinite(day.humidity)
    at_ms, humidity = day.at_ms[known], day.humidity[known]
    steps = -np.diff(humidity)
    sudden = (np.diff(at_ms) <= JUMP_WITHIN_MS) & (steps >= JUMP_RH)
    for index in np.flatnonzero(sudden & (humidity[:-1] < WET_HUMIDITY))[::-1].tolist():
        first, last = np.searchsorted(
            at_ms, [at_ms[index] - JUMP_AROUND_MS, at_ms[index] + JUMP_AROUND_MS], side="right"
        )
        before, after = humidity[first : index + 1], humidity[index + 1 : last]
        if min(len(before), len(after)) < JUMP_READINGS:
            continue
        stayed = float(np.median(before) - np.median(after))
        whole = max(stayed, float(before[0] - after[-1]))
        step = float(steps[index])
        if step >= JUMP_SHARE * whole and stayed >= JUMP_SHARE * step:
            return step
    return None


def _stuck_ms(history: History) -> float:
    """How long the newest values have stood still, 0 unless that is strange for this probe."""
    humidity, temperature, at_ms = history.humidity, history.temperature, history.at_ms
    if len(at_ms) < STUCK_READINGS or humidity[-1] >= WET_HUMIDITY:
        return 0.0
    moved = np.flatnonzero((np.diff(humidity) != 0.0) | (np.diff(temperature) != 0.0)) + 1
    starts = np.concatenate([[0], moved])
    lengths = np.diff(np.concatenate([at_ms[starts], at_ms[-1:]]))
    standing, before = lengths[-1], lengths[:-1]
    readings = len(at_ms) - starts[-1]
    usual = STUCK_FACTOR * float(before.max()) if len(before) else 0.0
    strange = standing >= max(STUCK_MS, usual) and readings >= STUCK_READINGS and len(before) > 0
    return float(standing) if strange else 0.0
