"""Offset and gain from one or more fixed points, with an interval that holds what it says.

Weighted least squares with errors in both readings and references (effective variance). The
uncertainty is found by propagating the distributions themselves (JCGM 101:2008), not their
standard deviations alone: a salt's limit says nothing but that the truth lies within, and 1.96
standard deviations of such a flat distribution reach beyond its ends.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.air.uncertainty import standard_uncertainty

Floats = npt.NDArray[np.float64]

DRAWS = 20_000
SEED = 1977
"""The draws are always the same: a certificate worked out again is the same certificate."""
COVERED = 0.95
GAIN_LIMIT = 0.05
"""How far the gain of a probe may be from 1 where it was not measured (own judgement)."""
ROUNDS = 5
"""The weights depend on the gain, which is near 1: a few rounds are more than enough."""


class Measured(NamedTuple):
    """One fixed point and the raw reading at rest, %RH.

    ``limits``: how far the reference may be off, one limit for each cause; ``u_reading``: standard
    uncertainty of the reading.
    """

    reference: float
    limits: tuple[float, ...]
    reading: float
    u_reading: float


@dataclass(frozen=True, slots=True)
class Line:
    """corrected = gain x raw + offset.

    ``errors``: draws of what is wrong with offset and gain, shape (2, draws). ``middle``: the raw
    reading about which an unmeasured gain may turn the line; None where the gain was measured.
    """

    gain: float
    offset: float
    residuals: tuple[float, ...]
    errors: Floats
    middle: float | None

    @property
    def u_offset(self) -> float:
        """Half the 95 % interval of the offset, %RH."""
        return _half(self.errors[0])

    @property
    def u_gain(self) -> float:
        """Half the 95 % interval of the gain; 0 where it was not measured."""
        return _half(self.errors[1])

    def uncertainty(self, raw: float) -> float:
        """Half the 95 % interval of the corrected humidity at a raw reading, %RH."""
        found = _half(self.errors[0] + raw * self.errors[1])
        turn = 0.0 if self.middle is None else GAIN_LIMIT * abs(raw - self.middle)
        return float(np.hypot(found, turn))


def fit(points: Sequence[Measured]) -> Line:
    """The line through the points: offset alone from one, offset and gain from more.

    Where three or more do not lie on a line as well as they should, all uncertainties are widened
    by as much (Birge ratio; Birge 1932, Phys. Rev. 40:207, from memory).

    Raises:
        ValueError: no point, or all with the same reading.
    """
    if not points:
        raise ValueError("no point was measured")
    reference = np.array([point.reference for point in points])
    reading = np.array([point.reading for point in points])
    u_reference = np.array(
        [np.sqrt(sum(standard_uncertainty(each) ** 2 for each in p.limits)) for p in points]
    )
    u_reading = np.array([point.u_reading for point in points])
    if len(points) == 1:
        to_line = np.array([[1.0], [0.0]])
        gain, offset = 1.0, float(reference[0] - reading[0])
    else:
        if np.ptp(reading) == 0.0:
            raise ValueError(f"all points read {reading[0]:g} %RH: the probe does not respond")
        gain = 1.0
        for _ in range(ROUNDS):
            to_line = _solver(reading, np.hypot(u_reference, gain * u_reading))
            offset, gain = (to_line @ reference).tolist()
    residuals = offset + gain * reading - reference
    spread = np.hypot(u_reference, gain * u_reading)
    spare = len(points) - 2
    birge = float(np.sqrt(np.sum((residuals / spread) ** 2) / spare)) if spare > 0 else 1.0
    wrong = _draws(points, gain) * max(birge, 1.0)
    return Line(
        gain=gain,
        offset=offset,
        residuals=tuple(residuals.tolist()),
        errors=to_line @ wrong,
        middle=float(reading[0]) if len(points) == 1 else None,
    )


def _solver(reading: Floats, spread: Floats) -> Floats:
    """What makes offset and gain of the references, shape (2, points)."""
    design = np.stack([np.ones_like(reading), reading])
    weighted = design / spread**2
    return np.asarray(np.linalg.solve(weighted @ design.T, weighted))


def _draws(points: Sequence[Measured], gain: float) -> Floats:
    """What may be wrong at each point, shape (points, draws)."""
    chance = np.random.default_rng(SEED)
    return np.stack(
        [
            gain * point.u_reading * chance.standard_normal(DRAWS)
            + sum(limit * chance.uniform(-1.0, 1.0, DRAWS) for limit in point.limits)
            for point in points
        ]
    )


def _half(errors: Floats) -> float:
    return float(np.quantile(np.abs(errors), COVERED))
