"""The criterion of time in range, by day and by night."""

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from monitor.analysis.settling.build import Bools, Floats
from monitor.analysis.settling.climate import Climate
from monitor.analysis.settling.criteria import Criterion, Name
from monitor.analysis.settling.days import divided
from monitor.analysis.settling.trailing import Trailing
from monitor.analysis.settling.wording import WORDS, count, sign
from monitor.quantities import Quantity
from monitor.species.ranges import Span, Zone, ZoneRange
from monitor.species.settling import SettlingLimits

FEWEST_SHARE = 0.5
"""Share of a day's light or dark hours that must be known."""

_WHEN = {Name.TIME_IN_RANGE_DAY: "by day", Name.TIME_IN_RANGE_NIGHT: "by night"}


class Share(NamedTuple):
    """The share of each day's light or dark hours within a span, in %; NaN where unknown."""

    name: Name
    zone: Zone
    quantity: Quantity
    span: Span
    percent: Floats


def time_in_range(
    climate: Climate, ranges: ZoneRange, lit: Bools, limits: SettlingLimits
) -> Iterator[Criterion]:
    """Whether a zone keeps within its ranges; ``lit`` tells the bins of day from those of night."""
    for share in shares(climate, ranges, lit):
        yield _criterion(share.name, climate, share.quantity, share.span, share.percent, limits)


def shares(climate: Climate, ranges: ZoneRange, lit: Bools) -> Iterator[Share]:
    """The time in range of each quantity that has one, by day and by night."""
    for name, spans, phase in (
        (Name.TIME_IN_RANGE_DAY, ranges.day, lit),
        (Name.TIME_IN_RANGE_NIGHT, ranges.night, ~lit),
    ):
        for quantity, span in (
            (Quantity.TEMPERATURE, spans.temperature),
            (Quantity.HUMIDITY, spans.humidity),
        ):
            if span is not None and climate.has(quantity) and phase.any():
                percent = daily_percent(climate, quantity, span, phase)
                yield Share(name, climate.zone, quantity, span, percent)


def daily_percent(climate: Climate, quantity: Quantity, span: Span, phase: Bools) -> Floats:
    """Share of the known time within a span, by day, in %; NaN where too little is known."""
    values = climate.bins[quantity]
    known = ~np.isnan(values) & phase
    inside = known & (values >= span.low) & (values <= span.high)
    asked, answered, held = (climate.days.sums(each) for each in (phase, known, inside))
    enough = (answered > 0) & (answered >= FEWEST_SHARE * asked)
    return divided(100.0 * held, answered, enough)


def _criterion(
    name: Name,
    climate: Climate,
    quantity: Quantity,
    span: Span,
    percent: Floats,
    limits: SettlingLimits,
) -> Criterion:
    least = 100 * limits.time_in_range
    asked = f"within {span.low:g} to {span.high:g} {sign(quantity)} {_WHEN[name]}"
    recent = count(limits.recent_days, "day")
    trailing = Trailing(
        percent, limits.recent_days, lambda days: float(days.mean()), lambda share: share >= least
    )
    return trailing.criterion(
        name,
        climate.zone,
        quantity,
        "%",
        required=f"{asked} at least {least:g} % of the time",
        says=lambda share: f"{WORDS[quantity]} was {asked} for {share:.0f} % of the last {recent}",
        days=climate.days,
        limits=limits,
    )
