"""Runs and certificates as the API and the command line give them."""

from typing import Any

from monitor.analysis.calibration import GRID, FixedPoint
from monitor.jobs.calibrating import Progress
from monitor.setup.calibration import Certificate, Step
from monitor.store.sqlite.state.calibrations import CalibrationRow
from monitor.times import rfc3339


def told(progress: Progress) -> dict[str, Any]:
    """A run and how far it is."""
    rest = progress.rest
    now: dict[str, Any] = {}
    if rest is not None:
        now = {
            "humidity": _rounded(rest.last),
            "reference": _point(progress.reference),
            "to_come": None if rest.to_come is None else [_rounded(each) for each in rest.to_come],
            "at_rest": rest.rested is not None,
        }
    return shown(progress.row) | {"now": now or None, "says": progress.says}


def shown(row: CalibrationRow) -> dict[str, Any]:
    """A run as it is kept."""
    return {
        "id": row.id,
        "place": row.place,
        "probe": row.probe,
        "state": row.state,
        "started_at": rfc3339(row.started_ms),
        "ended_at": _time(row.ended_ms),
        "applied_at": _time(row.applied_ms),
        "by": row.run.by,
        "salts": row.run.salts,
        "steps": [_step(step) for step in row.run.steps],
        "certificate": None if row.certificate is None else _certificate(row.certificate),
    }


def _step(step: Step) -> dict[str, Any]:
    return {
        "salt": step.salt,
        "from": rfc3339(step.since_ms),
        "to": _time(step.until_ms),
        "reading": None if step.rested is None else _rounded(step.rested.reading),
        "temperature": None if step.rested is None else _rounded(step.rested.temperature),
    }


def _certificate(certificate: Certificate) -> dict[str, Any]:
    drift = certificate.drift
    return {
        "quantity": certificate.quantity,
        "made_at": rfc3339(certificate.made_ms),
        "due_at": rfc3339(certificate.due_ms),
        "gain": _rounded(certificate.gain, 5),
        "gain_uncertainty": _rounded(certificate.u_gain, 5),
        "offset": _rounded(certificate.offset),
        "offset_uncertainty": _rounded(certificate.u_offset),
        "uncertainty": [
            [raw, _rounded(each)] for raw, each in zip(GRID, certificate.uncertainty, strict=True)
        ],
        "points": [
            {
                "salt": point.salt,
                "temperature": _rounded(point.temperature),
                "reference": _rounded(point.reference),
                "reference_limit": _rounded(point.reference_limit),
                "reading": _rounded(point.reading),
                "residual": _rounded(point.residual),
            }
            for point in certificate.points
        ],
        "before": certificate.before.model_dump(),
        "drift": None
        if drift is None
        else {
            "since": rfc3339(drift.since_ms),
            "humidity": _rounded(drift.humidity),
            "drift": _rounded(drift.drift),
            "uncertainty": _rounded(drift.uncertainty),
            "clear": drift.is_clear,
        },
        "usable": not certificate.unusable,
        "says": certificate.says,
    }


def _point(point: FixedPoint | None) -> dict[str, Any] | None:
    if point is None:
        return None
    return {"humidity": _rounded(point.humidity), "limit": point.limit}


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else rfc3339(at_ms)


def _rounded(value: float | None, digits: int = 3) -> float | None:
    return None if value is None else round(value, digits)
