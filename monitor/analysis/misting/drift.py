"""Whether the enclosure itself has changed: the first half of a record held against the second.

Advice, not alarm: a lid left ajar, vents that were covered, ground that dries out, a nozzle that
clogs. The rates are fitted to each half alone, the doses are those of the whole record's fit.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import exp, log, sqrt

import numpy as np

from monitor.analysis.misting.climate import Column
from monitor.analysis.misting.fit import CONFIDENCE_Z, FILM_FLOOR, FLOOR, Fit, fit
from monitor.analysis.misting.observation import part
from monitor.analysis.misting.state_space import Observed
from monitor.analysis.misting.water import Dose
from monitor.times import DAY_MS

SHORTEST_HALF_DAYS = 3.0
STANDS_OUT = 3.0
"""Standard errors by which a change must exceed none."""
LEAST_RATE = log(1.15)
LEAST_DOSE = log(1.25)
"""Changes smaller than these are not worth anyone's while."""
FEWEST_DOSES = 5
"""Timed mistings in each half that it takes to compare what they bring."""
CLEARLY_DRIER = 0.3
"""g/m3 by which the asymptote must fall for the ground to be suspected."""


class Changed(StrEnum):
    """What has changed."""

    RATE = "drying_rate"
    DOSE = "added_by_misting"


@dataclass(frozen=True, slots=True)
class Drift:
    """A change within the record: ``ratio`` of later to earlier with its 90 % interval."""

    changed: Changed
    ratio: float
    low: float
    high: float
    says: str


def drifts(
    seen: Observed, whole: Fit, asymptote: Column, doses: Sequence[Dose], middle_ms: int
) -> list[Drift]:
    """Changes from the first half of a record to the second that are large and sure enough.

    Args:
        seen: the record, as the filter took it.
        whole: its fit, from which those of the halves begin.
        asymptote: what the air goes to, in each bin of the record, g/m3.
        doses: what each misting of known length brought.
        middle_ms: where the second half begins.
    """
    found = [_of_rate(seen, whole, asymptote), _of_doses(doses, middle_ms)]
    return [each for each in found if each is not None]


def _of_rate(seen: Observed, whole: Fit, asymptote: Column) -> Drift | None:
    middle = len(seen) // 2
    if middle * seen.step_h * 3_600_000 < SHORTEST_HALF_DAYS * DAY_MS:
        return None
    # Two rates in one record look like a film: what was fitted to all is no start for the halves.
    start = None if whole.wets else whole
    halves = [fit(part(seen, first, beyond), start) for first, beyond in _halves(len(seen))]
    weight = total = 0.0
    for phase in (np.array([1.0, 0.0]), np.array([1.0, 1.0])):
        change, variance = 0.0, 0.0
        for half, sign in zip(halves, (-1.0, 1.0), strict=True):
            change += sign * float(phase @ half.parameters[:2])
            variance += float(phase @ half.covariance[:2, :2] @ phase)
            variance += (FILM_FLOOR if half.wets else FLOOR) ** 2
        total += change / variance
        weight += 1.0 / variance
    # Both phases err alike: their mean is no surer than the surer of them.
    change, error = total / weight, sqrt(2.0 / weight)
    if abs(change) < max(LEAST_RATE, STANDS_OUT * error):
        return None
    fell = float(asymptote[:middle].mean() - asymptote[middle:].mean())
    if change > 0.0:
        cause = "is the lid ajar, a vent opened, or a fan new?"
    elif fell > CLEARLY_DRIER:
        cause = f"and goes to {fell:.1f} g/m3 less: is the ground drying out?"
    else:
        cause = "were vents covered, or has the fan stopped?"
    says = (
        f"in the later half of the record the air dries {exp(abs(change)):.2f} times as "
        f"{'fast' if change > 0.0 else 'slowly'} as before: {cause}"
    )
    return _drift(Changed.RATE, change, error, says)


def _halves(count: int) -> tuple[tuple[int, int], tuple[int, int]]:
    return (0, count // 2), (count // 2, count)


def _of_doses(doses: Sequence[Dose], middle_ms: int) -> Drift | None:
    ratios: list[Column] = []
    for later in (False, True):
        half = [dose for dose in doses if (dose.misting.at_ms >= middle_ms) is later]
        if len(half) < FEWEST_DOSES:
            return None
        ratios.append(np.array([dose.added / (dose.misting.seconds or 1.0) for dose in half]))
    levels = [float(np.median(half)) for half in ratios]
    if levels[0] <= 0.0:
        return None
    # A clogged nozzle may bring nothing at all.
    change = log(max(levels[1], 0.05 * levels[0]) / levels[0])
    variance = 0.0
    for ratio, level in zip(ratios, levels, strict=True):
        spread = 1.4826 * float(np.median(np.abs(ratio - level)))
        variance += 1.57 * (spread / max(level, 0.05 * levels[0])) ** 2 / len(ratio)
    error = sqrt(variance)
    if abs(change) < max(LEAST_DOSE, STANDS_OUT * error):
        return None
    cause = (
        "is a nozzle clogged or turned away, or the tank empty?"
        if change < 0.0
        else "was a nozzle cleaned, or the pump changed?"
    )
    says = (
        f"a second of misting brings {exp(change):.2f} times what it did in the earlier half of "
        f"the record: {cause}"
    )
    return _drift(Changed.DOSE, change, error, says)


def _drift(changed: Changed, change: float, error: float, says: str) -> Drift:
    reach = CONFIDENCE_Z * error
    return Drift(changed, exp(change), exp(change - reach), exp(change + reach), says)
