"""What a finished run says: the correction, how sure it is, and what has drifted since the last."""

from collections.abc import Sequence

import numpy as np

from monitor.analysis.calibration.line import Line, Measured, fit
from monitor.analysis.calibration.salts import fixed_point, sensitivity
from monitor.setup.calibration import (
    CalibrationSettings,
    Certificate,
    Drift,
    Point,
    Rested,
    Salt,
    Step,
)
from monitor.setup.models import Correction
from monitor.times import DAY_MS

GRID = tuple(range(0, 101, 10))
"""Raw readings at which a certificate tells its uncertainty, %RH."""
U_TEMPERATURE_K = 0.5
"""How far the probe's own thermometer may be off (common practice, no source)."""
LEAST_GAIN, MOST_GAIN = 0.8, 1.25
MOST_OFFSET = 50.0
"""A probe that needs more than this is broken (common practice, no source)."""


def certify(
    steps: Sequence[Step],
    before: Correction,
    earlier: Certificate | None,
    now_ms: int,
    settings: CalibrationSettings,
) -> Certificate:
    """The certificate of a run whose steps have all come to rest.

    ``before``: the correction in force meanwhile; ``earlier``: the certificate applied last.

    Raises:
        ValueError: no step, a temperature beyond the fixed points, or the same reading for all.
    """
    rested = [(step.salt, step.rested) for step in steps if step.rested is not None]
    measured = [_measured(salt, found, settings) for salt, found in rested]
    line = fit(measured)
    points = tuple(
        Point(
            salt=salt,
            reference=point.reference,
            reference_limit=float(sum(point.limits)),
            reading=point.reading,
            u_reading=point.u_reading,
            temperature=found.temperature,
            residual=residual,
        )
        for (salt, found), point, residual in zip(rested, measured, line.residuals, strict=True)
    )
    unusable = _unusable(line)
    drift = None if earlier is None else _drift(measured, line, earlier)
    return Certificate(
        made_ms=now_ms,
        due_ms=now_ms + settings.due_days * DAY_MS,
        points=points,
        gain=line.gain,
        u_gain=line.u_gain,
        offset=line.offset,
        u_offset=line.u_offset,
        uncertainty=tuple(line.uncertainty(raw) for raw in GRID),
        before=before,
        drift=drift,
        unusable=unusable,
        says=_says(line, drift, unusable),
    )


def uncertainty_at(certificate: Certificate, humidity: float) -> float:
    """Half the 95 % interval of a humidity corrected by a certificate, %RH."""
    raw = (humidity - certificate.offset) / certificate.gain
    return float(np.interp(raw, GRID, certificate.uncertainty))


def _measured(salt: Salt, found: Rested, settings: CalibrationSettings) -> Measured:
    point = fixed_point(salt, found.temperature)
    limits = (
        point.limit,
        point.gradient_limit(found.temperature, settings.apart_k),
        abs(sensitivity(salt, found.temperature)) * U_TEMPERATURE_K,
    )
    return Measured(point.humidity, limits, found.reading, found.u_reading)


def _unusable(line: Line) -> str:
    if not LEAST_GAIN <= line.gain <= MOST_GAIN:
        return (
            f"a gain of {line.gain:.3f} lies outside {LEAST_GAIN:g} to {MOST_GAIN:g}: no probe "
            "in order needs it. Check the salts and the order they were taken in; else replace it"
        )
    if abs(line.offset) > MOST_OFFSET:
        return f"an offset of {line.offset:+.1f} %RH is beyond repair: replace the probe"
    return ""


def _drift(measured: Sequence[Measured], line: Line, earlier: Certificate) -> Drift:
    """Where the probe, corrected as the earlier certificate says, is furthest from the truth.

    The same salts may be off by the same both times, which is not counted on.
    """

    def astray(point: Measured) -> float:
        return earlier.gain * point.reading + earlier.offset - point.reference

    worst = max(measured, key=lambda point: abs(astray(point)))
    return Drift(
        since_ms=earlier.made_ms,
        humidity=worst.reference,
        drift=astray(worst),
        uncertainty=float(
            np.hypot(line.uncertainty(worst.reading), uncertainty_at(earlier, worst.reference))
        ),
    )


def _says(line: Line, drift: Drift | None, unusable: str) -> str:
    offset = f"an offset of {line.offset:+.2f} ± {line.u_offset:.2f} %RH"
    if line.middle is None:
        told = f"Correct it by a gain of {line.gain:.4f} ± {line.u_gain:.4f} and {offset}."
    else:
        told = (
            f"Correct it by {offset}. One salt tells nothing of the gain: far from "
            f"{line.middle + line.offset:.0f} %RH it is less sure."
        )
    if unusable:
        told = f"Not to be applied: {unusable}."
    if drift is not None and drift.is_clear:
        told += (
            f" Since the last calibration it has drifted by {drift.drift:+.1f} ± "
            f"{drift.uncertainty:.1f} %RH at {drift.humidity:.0f} %RH."
        )
    return told
