"""How far a probe's humidity can be believed."""

import numpy as np

from monitor.analysis.calibration import uncertainty_at
from monitor.analysis.trust.model import Past
from monitor.setup.calibration import Certificate
from monitor.times import DAY_MS

UNCALIBRATED_RH = 4.0
"""%RH, 95 %, of a small sensor as bought (common practice, no source: data sheets promise 2 to 3
when new)."""
AGEING_RH = 1.0
"""%RH that is added for each year since the certificate (common practice, no source)."""
TEMPERATURE_K = 0.3
"""K, 95 %, of a small sensor's temperature (common practice, no source)."""
YEAR_MS = 365.25 * DAY_MS
NOTHING_KNOWN_RH = 70.0


def uncertainty_of(certificate: Certificate | None, humidity: float, now_ms: int) -> float:
    """Half the 95 % interval of a corrected humidity, %RH."""
    if certificate is None:
        return UNCALIBRATED_RH
    aged = AGEING_RH * max(now_ms - certificate.made_ms, 0) / YEAR_MS
    return float(np.hypot(uncertainty_at(certificate, humidity), aged))


def usual_uncertainty(past: Past, now_ms: int) -> float:
    """The same at the humidity the probe mostly reads."""
    humidity = float(np.median(past.humidity)) if len(past.humidity) else NOTHING_KNOWN_RH
    return uncertainty_of(past.certificate, humidity, now_ms)
