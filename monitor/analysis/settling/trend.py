"""The trend of a daily series, and what is still to come of it, as of any of its days.

*Even* is shown by equivalence: the interval of the trend lies inside the limit. That a trend is not
significant shows nothing; a short or noisy record never comes out even.

*Even* is not *finished*: a climate that approaches its end value ever slower may look even with
much still to come. What is still to come is the time constant times the slope, which is the
coefficient of exp(-(t - now) / tau) with tau unknown.

Where the room is measured, its temperature and vapour pressure are fitted along, so that what the
weather does to the room is not taken for unrest of the build. Probes that follow one another have a
level each.
"""

from dataclasses import dataclass
from math import ceil

import numpy as np

from monitor.analysis.settling.build import Floats, Ints
from monitor.analysis.settling.climate import Daily
from monitor.analysis.settling.criteria import Result
from monitor.analysis.settling.regression import Estimate, clipped, estimate
from monitor.quantities import Quantity
from monitor.species.settling import SettlingLimits

FLOOR = {
    Quantity.TEMPERATURE: 0.05,
    Quantity.HUMIDITY: 0.2,
    Quantity.VAPOUR_PRESSURE: 0.005,
}
"""Standard deviation that daily means have at least: small sensors resolve and hold no better."""

TAUS = np.array([3.0, 4.0, 6.0, 9.0, 13.0, 20.0, 30.0])
"""Time constants that an approach may have, in days."""

LOOKED_BACK = (60, 50, 42, 35, 28)
"""How many days back an approach is looked for: the most that a single one describes."""

DESCRIBED = 2.0
"""A single approach describes a span about which days scatter at most so much more than over the
shortest. Soil that stays wet for weeks and then dries makes a bend that none describes."""

FEWEST_SHARE = 0.8
"""Share of the days of a window that must have a value."""

CLEAR_RATIO = 0.3
"""Below this ratio of limit to spread of single days the usual window is too short."""


@dataclass(frozen=True, slots=True)
class Trend:
    """The trend as of one day over the ``window`` days before it, in the quantity's unit per day.

    ``plain`` is that with the room left in it. ``needed`` days would tell; where fewer are there,
    the result is unknown.
    """

    estimate: Estimate
    plain: float
    window: int
    needed: int
    result: Result


@dataclass(frozen=True, slots=True)
class Approach:
    """How far the humidity is above its end value as of one day, %RH, and its time constant."""

    estimate: Estimate
    tau: float
    result: Result


def trend_at(daily: Daily, end: int, quantity: Quantity, limits: SettlingLimits) -> Trend | None:
    """The trend over the days before number ``end``; None where there are too few."""
    limit = limits.trend(quantity)
    window = limits.even_days
    found = _slope(daily, end, window, FLOOR[quantity])
    if found is None:
        return None
    needed = days_needed(found[0].spread, limit, limits)
    longer = _slope(daily, end, needed, FLOOR[quantity]) if needed > window else None
    if longer is not None:
        found, window = longer, needed
    slope, plain = found
    result = Result.UNKNOWN
    if slope.is_beyond(limit, limits.trend_risk):
        result = Result.FAIL
    elif window == needed and abs(plain) <= limit and slope.is_within(limit, limits.trend_risk):
        result = Result.PASS
    return Trend(slope, plain, window, needed, result)


def days_needed(spread: float, limit: float, limits: SettlingLimits) -> int:
    """Days over which a trend can be told from the scatter of single days, in whole weeks.

    The error of a slope falls with the number of days to the power 3/2.
    """
    ratio = limit / spread
    if ratio >= CLEAR_RATIO:
        return limits.even_days
    days = limits.even_days * (CLEAR_RATIO / ratio) ** (2 / 3)
    return min(7 * ceil(float(days) / 7), limits.longest_even_days)


def approach_at(daily: Daily, end: int, limits: SettlingLimits) -> Approach | None:
    """What is still to come of the humidity after the days before number ``end``.

    None where days are too few.
    """
    found = _excess(daily, end, Quantity.HUMIDITY, limits)
    if found is None:
        return None
    result = Result.UNKNOWN
    if found.is_within(limits.to_come_humidity_pct, limits.to_come_risk):
        result = Result.PASS
    elif found.is_beyond(limits.to_come_humidity_pct, limits.to_come_risk):
        result = Result.FAIL
    return Approach(found, _tau(found), result)


def time_constant_at(
    daily: Daily, end: int, quantity: Quantity, limits: SettlingLimits
) -> float | None:
    """The time constant, in days, with which a quantity seems to approach its end value."""
    found = _excess(daily, end, quantity, limits)
    return _tau(found) if found else None


def _excess(daily: Daily, end: int, quantity: Quantity, limits: SettlingLimits) -> Estimate | None:
    """How far a quantity is above the value it seems to approach."""
    if end < limits.even_days:
        return None
    *longer, shortest = dict.fromkeys(min(end, days) for days in LOOKED_BACK)
    recent = _excess_over(daily, end, shortest, quantity)
    for window in longer if recent else ():
        found = _excess_over(daily, end, window, quantity)
        if found and recent and found.spread <= DESCRIBED * recent.spread:
            return found
    return recent


def _excess_over(daily: Daily, end: int, window: int, quantity: Quantity) -> Estimate | None:
    chosen = _chosen(daily, end, window)
    if chosen is None:
        return None
    day, room = chosen
    forms = np.exp(-(day - (end - 1)) / TAUS[:, np.newaxis])
    return _fit(daily, day, room, forms, FLOOR[quantity])


def _tau(found: Estimate) -> float:
    return float(np.sum(found.weight.sum(axis=0) * TAUS))


def _slope(daily: Daily, end: int, window: int, floor: float) -> tuple[Estimate, float] | None:
    """The slope with the room taken out, where it is known, and with it left in."""
    chosen = _chosen(daily, end, window)
    if chosen is None:
        return None
    day, room = chosen
    line = (day - day.mean())[np.newaxis]
    plain = _fit(daily, day, room[:0], line, floor)
    slope = _fit(daily, day, room, line, floor) if len(room) else plain
    return (slope, plain.value) if slope and plain else None


def _chosen(daily: Daily, end: int, window: int) -> tuple[Ints, Floats] | None:
    """The numbers of the days to fit, and the room on them (no rows, if it is not known).

    None where too few days have a value.
    """
    if end < window:
        return None
    span = slice(end - window, end)
    there = ~np.isnan(daily.value[span])
    with_room = there & ~np.isnan(daily.beside[:, span]).any(axis=0)
    fewest = FEWEST_SHARE * window
    if with_room.sum() >= fewest:
        day = end - window + np.flatnonzero(with_room)
        return day, daily.beside[:, day]
    day = end - window + np.flatnonzero(there)
    return (day, daily.beside[:0, day]) if len(day) >= fewest else None


def _fit(daily: Daily, day: Ints, room: Floats, signals: Floats, floor: float) -> Estimate | None:
    source = daily.source[day]
    levels = (source == np.unique(source)[:, np.newaxis]).astype(np.float64)
    value = clipped(daily.value[day], floor)
    return estimate(day.astype(np.float64), value, np.concatenate([levels, room]), signals, floor)
