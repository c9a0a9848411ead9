"""What is known of each series before its readings arrive, as one row for each series id."""

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from monitor.quantities import MEASURED, Quantity
from monitor.setup.judging import JudgeSettings
from monitor.setup.models import Correction
from monitor.times import HOUR_MS

NEVER_MS = 2**62
"""A span no series reaches."""

RULE = np.dtype(
    [
        ("gain", np.float64),
        ("offset", np.float64),
        ("corrected", np.bool_),
        ("lowest", np.float64),
        ("highest", np.float64),
        ("bad_below", np.float64),
        ("bad_above", np.float64),
        ("max_step", np.float64),
        ("flat_after_ms", np.int64),
        ("flat_below", np.float64),
        ("away", np.bool_),
    ],
    align=True,
)
# A series nobody describes any more: nothing is corrected, nothing suspected. Its limits only keep
# the difference of two values finite.
_UNKNOWN = (1.0, 0.0, False, -1e300, 1e300, -1e300, 1e300, math.inf, NEVER_MS, math.inf, False)


@dataclass(frozen=True, slots=True)
class Rules:
    """Calibration and thresholds.

    ``rows``: one ``RULE`` for each series id from 0 on. ``max_step`` is per minute in the
    quantity's unit; a value of ``flat_below`` or more never counts as flat.
    """

    rows: npt.NDArray[Any]
    future_ms: int
    confirm_ms: int
    flat_readings: int

    @classmethod
    def compiled(
        cls,
        quantities: Mapping[int, Quantity],
        corrections: Mapping[int, Correction],
        settings: JudgeSettings,
        away: Collection[int] = (),
    ) -> Self:
        """Rules for the series of ``quantities``, by series id; ids between may be missing.

        ``away``: series of probes that are not in their place just now.
        """
        rows = np.full(max(quantities, default=-1) + 1, np.array(_UNKNOWN, RULE), RULE)
        for series, quantity in quantities.items():
            correction = corrections.get(series, Correction())
            rows[series] = _rule(quantity, correction, settings, away=series in away)
        return cls(
            rows,
            round(settings.future_s * 1000),
            round(settings.confirm_s * 1000),
            settings.flat_readings,
        )


def _rule(
    quantity: Quantity, correction: Correction, settings: JudgeSettings, *, away: bool
) -> tuple[Any, ...]:
    trait = MEASURED[quantity]
    slack = settings.percent_slack if trait.unit in {"%RH", "%", "%EL"} else 0.0
    flat = quantity in settings.flat_quantities
    return (
        correction.gain,
        correction.offset,
        correction != Correction(),
        trait.lowest,
        trait.highest,
        trait.lowest - slack,
        trait.highest + slack,
        settings.max_step.get(quantity, trait.max_step),
        round(settings.flat_after_h * HOUR_MS) if flat else NEVER_MS,
        settings.saturated_above if quantity is Quantity.HUMIDITY else math.inf,
        away,
    )
