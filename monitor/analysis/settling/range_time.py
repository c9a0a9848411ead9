"""The criterion of time in range, by day and by night."""

from collections.abc import Iterator

import numpy as np

from monitor.analysis.settling.build import Bools, Floats
from monitor.analysis.settling.climate import Climate
from monitor.analysis.settling.criteria import Criterion, Name
from monitor.analysis.settling.days import divided
from monitor.analysis.settling.trailing import Trailing
from monitor.analysis.settling.wording import WORDS, count
from monitor.quantities import Quantity, unit_of
from monitor.setup.settling import SettlingLimits
from monitor.species.ranges import Span, ZoneRange

FEWEST_SHARE = 0.5
"""Share of a day's light or dark hours that must be known."""

_WHEN = {Name.TIME_IN_RANGE_DAY: "by day", Name.TIME_IN_RANGE_NIGHT: "by night"}


def time_in_range(
    climate: Climate, ranges: ZoneRange, lit: Bools, limits: SettlingLimits
) -> Iterator[Criterion]:
    """Whether a zone keeps within its ranges; ``lit`` tells the bins of day from those of night."""
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
                yield _criterion(name, climate, quantity, span, percent, limits)


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
    asked = f"within {span} {unit_of(quantity)} {_WHEN[name]}"
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
