"""What a probe's certificate says of it: is it due, and did it drift since the one before?"""

from monitor.analysis.trust.budget import YEAR_MS
from monitor.analysis.trust.model import Advice, Check, Confidence, Past
from monitor.times import DAY_MS

FAST_RH = 2.0
"""%RH a year; a probe in order drifts less (common practice, no source)."""
FEWEST_DAYS = 60
"""Days between two calibrations below which a rate says little."""


def overdue(past: Past, now_ms: int) -> Advice | None:
    """Whether the probe is to be calibrated again. One that never was is a matter of its own."""
    certificate = past.certificate
    if certificate is None or now_ms <= certificate.due_ms:
        return None
    days = (now_ms - certificate.due_ms) // DAY_MS
    return Advice(
        Check.OVERDUE,
        Confidence.CERTAIN,
        {"days": days},
        f"Its calibration was due {days} days ago.",
        "Calibrate it; docs/calibration.md tells how.",
    )


def drifted(past: Past) -> Advice | None:
    """Whether the last calibration found it much astray since the one before."""
    drift = None if past.certificate is None else past.certificate.drift
    if past.certificate is None or drift is None or not drift.is_clear:
        return None
    age_ms = past.certificate.made_ms - drift.since_ms
    if age_ms < FEWEST_DAYS * DAY_MS:
        return None
    rate = drift.drift / (age_ms / YEAR_MS)
    if abs(rate) <= FAST_RH:
        return None
    return Advice(
        Check.DRIFTS,
        Confidence.LIKELY,
        {
            "drift_pct": round(drift.drift, 2),
            "uncertainty_pct": round(drift.uncertainty, 2),
            "a_year_pct": round(rate, 2),
        },
        f"Its last calibration found it {drift.drift:+.1f} ± {drift.uncertainty:.1f} %RH astray at "
        f"{drift.humidity:.0f} %RH, {rate:+.1f} a year.",
        "It is corrected for now. Calibrate it again in half the time, and replace it if it goes "
        "on.",
    )
