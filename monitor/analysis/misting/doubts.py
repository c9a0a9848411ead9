"""What makes a fitted rate doubtful: signs in the record and in the residuals."""

from collections.abc import Sequence
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from monitor.analysis.misting.fit import Fit, Rate
from monitor.analysis.misting.lag import Lag
from monitor.analysis.misting.state_space import Observed
from monitor.analysis.misting.water import Dose, Water

WIDEST = 0.2
"""Half-width of the interval, relative to the rate, beyond which a rate is not given."""
FEWEST_IN_PHASE = 3
"""Decays seen by day (or by night) that it takes to give that rate."""
SMALLEST_DOSE = 1.0
"""g/m3 that a middling misting must add."""
AFTER_MISTING_H = (0.0, 0.35, 0.7, 1.2, 2.5)
"""Edges of the times after a misting at which the residuals are looked at."""
OUT_OF_SHAPE = 6.0
"""Standard errors by which their mean may be off."""
TWOFOLD = 1.5
UNTRACED_SHARE = 0.3
FEWEST_UNTRACED = 4


class Sign(StrEnum):
    """What a doubt is about."""

    WETS_SURFACES = "wets_surfaces"
    SLOW_PROBE = "slow_probe"
    OUT_OF_SHAPE = "out_of_shape"
    SMALL_DOSES = "small_doses"
    DAY_NIGHT = "day_night"
    TOO_WIDE = "too_wide"
    FEW_DECAYS = "few_decays"
    UNTRACED = "untraced"


class Doubt(NamedTuple):
    """One sign, in words; ``spoils`` is whether it keeps the rate from being given."""

    sign: Sign
    says: str
    spoils: bool


def doubts(
    fit: Fit,
    seen: Observed,
    lag: Lag,
    measured: Sequence[Dose],
    timed: Sequence[Dose],
    water: Water | None,
) -> list[Doubt]:
    """Signs that the balance is not quite what was assumed.

    Args:
        fit: the balance.
        seen: the record as the filter took it.
        lag: of the probe.
        measured: what each misting brought.
        timed: those of mistings whose length is known.
        water: what a second brings; None: not known.
    """
    found = []
    if fit.wets:
        found.append(
            Doubt(
                Sign.WETS_SURFACES,
                "the mist wets leaves, glass or ground first and feeds the air from there: this is "
                "reckoned with, but the drying rate is less certain for it",
                spoils=False,
            )
        )
    ratio = fit.day.value / fit.night.value
    if max(ratio, 1.0 / ratio) >= TWOFOLD:
        found.append(
            Doubt(
                Sign.DAY_NIGHT,
                f"the air dries {max(ratio, 1.0 / ratio):.1f} times as fast by "
                f"{'day' if ratio > 1.0 else 'night'}: the two are kept apart",
                spoils=False,
            )
        )
    if lag.slow and lag.minutes is not None:
        found.append(
            Doubt(
                Sign.SLOW_PROBE,
                f"the probe's humidity lags by about {lag.minutes:.0f} min: its rises and decays "
                "are its own; give it moving air, or take off its cap",
                spoils=True,
            )
        )
    off = out_of_shape(fit, seen)
    if off > OUT_OF_SHAPE:
        found.append(
            Doubt(
                Sign.OUT_OF_SHAPE,
                "after mistings the readings do not follow the balance (the residuals' mean is "
                f"{off:.0f} standard errors off): a slow probe, a probe in the mist's way, or "
                "water that feeds the air in another way than reckoned with",
                spoils=True,
            )
        )
    dose = typical_dose(fit, measured)
    if dose is not None and dose < SMALLEST_DOSE:
        found.append(
            Doubt(
                Sign.SMALL_DOSES,
                f"a misting adds only {dose:.1f} g/m3: too little beside the unrest of the room; "
                f"mist longer for some days ({SMALLEST_DOSE:g} g/m3 or more) to have the rate "
                "measured",
                spoils=True,
            )
        )
    # What goes onto surfaces first does not show in a misting by itself.
    lost = [
        each
        for each in timed
        if water and not fit.wets and each.added < 0.25 * water.per_s * _s(each)
    ]
    if len(lost) >= FEWEST_UNTRACED and len(lost) >= UNTRACED_SHARE * len(timed):
        found.append(
            Doubt(
                Sign.UNTRACED,
                f"{len(lost)} of {len(timed)} reported mistings brought hardly any vapour: is the "
                "tank empty, or a nozzle clogged or turned away?",
                spoils=False,
            )
        )
    return found


def rate_doubt(rate: Rate, phase: str, decays: int) -> Doubt | None:
    """Why the rate of one phase (``day`` or ``night``) cannot be given, None if it can."""
    if decays < FEWEST_IN_PHASE:
        few = f"only {decays}" if decays else "no"
        return Doubt(
            Sign.FEW_DECAYS,
            f"{few} mistings were followed by drying by {phase}, it takes "
            f"{FEWEST_IN_PHASE}: mist by {phase} for some days to have that rate measured",
            spoils=True,
        )
    if rate.half_width > WIDEST:
        return Doubt(
            Sign.TOO_WIDE,
            f"by {phase} the rate is known to {rate.half_width:.0%} only: log more days, or put a "
            "probe in the room's air",
            spoils=True,
        )
    return None


def out_of_shape(fit: Fit, seen: Observed) -> float:
    """How far the residuals' mean is off at its worst time after mistings, standard errors."""
    place = np.arange(len(seen))
    last = np.maximum.accumulate(np.where(seen.misted > 0.0, place, -1))
    since = np.where(last >= 0, (place - last) * seen.step_h, np.inf)[fit.bins]
    worst = 0.0
    for first, beyond in pairwise(AFTER_MISTING_H):
        # Single readings gone wrong are no matter of shape.
        here = np.clip(fit.residuals[(since >= first) & (since < beyond)], -4.0, 4.0)
        if len(here):
            worst = max(worst, abs(float(here.mean())) * float(np.sqrt(len(here))))
    return worst


def typical_dose(fit: Fit, measured: Sequence[Dose]) -> float | None:
    """What a middling misting adds, g/m3."""
    if not measured:
        return None
    per_s = float(fit.rates.film_per_s[0])
    return float(np.median([dose.added + per_s * _s(dose) for dose in measured]))


def _s(dose: Dose) -> float:
    return dose.misting.seconds or 0.0
