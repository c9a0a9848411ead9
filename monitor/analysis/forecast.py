"""When humidity will cross a limit: an interval, from the usual day and the departure from it now.

The course ahead is what is usual at those hours plus the present departure from it, fading. How
wrong that can be is taken from earlier days: each is tried as a way things may go on from here. If
the present runs away from the usual faster than on other days, some of the ways run on.
docs/causes.md has the back-test.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from zoneinfo import ZoneInfo

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from monitor.analysis.courses import Column, History, median, on_grid, same_hour_shifts
from monitor.times import HOUR_MS, MINUTE_MS

BIN_MS = 10 * MINUTE_MS
PER_HOUR = HOUR_MS // BIN_MS
AHEAD = 12 * PER_HOUR
"""How far is looked: half a day; by then little is left of the present."""
BEFORE = 12 * PER_HOUR
"""The slow part of a departure is its mean over so long."""
AROUND = 3 * PER_HOUR
EVERY = PER_HOUR // 2
"""Earlier days are tried from this hour and from up to three hours before and after it."""
DAYS = 7
FEWEST_WAYS = 20
"""Two full days give them."""

SLOW_H, FAST_H = 36.0, 3.0
"""How the slow and the fast part of a departure fade: weather; a misting more or less."""
MARGIN_MS = BIN_MS // 2
"""Added outwards at either end, for the width of a bin."""

CHANGE = PER_HOUR // 2
"""Bins over which a present change is measured."""
LEAST_CHANGE_RH = 0.7
"""Smaller changes are noise, however steady the earlier days were."""
SUSPECT, CERTAIN = 1.5, 4.5
"""Changes, in standard deviations of earlier ones, from which the first and all ways run on."""
MOST_RUNNING = 0.9
RUN_H = (1.0, 12.0)
"""A run slows down with a time constant between these, ..."""
RUN_FACTORS = np.exp([-1.2, 0.0, 1.2, -0.6, 0.6])
"""... and goes on slower or faster than it began."""

SHARE = 0.8
"""Of the ways an interval holds."""
MAD_TO_SIGMA = 1.4826

FAR_RH = 1e6
"""Stands for an infinite distance where there was no limit yet."""
HOURS = np.arange(1, AHEAD + 1) / PER_HOUR
Rows = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LimitAhead:
    """The limits (%RH) from a time on, until the next; None where there is none."""

    from_ms: int
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Forecast:
    """When a limit will be crossed: an 80 % interval and the middle of it, epoch ms.

    An end is None if it lies more than half a day ahead; all are None if no crossing is expected by
    then or nothing can be told. ``says`` is a phrase in the clock's local time.
    """

    not_before_ms: int | None
    likely_ms: int | None
    not_after_ms: int | None
    says: str


def forecast(
    history: History, now_ms: int, limits: Sequence[LimitAhead], clock: ZoneInfo, *, low: bool
) -> Forecast:
    """When humidity will fall below the lower limit (``low``), or rise above the upper.

    ``limits`` are in order and the first holds now. Some two days of history are needed, seven are
    best. It takes about a millisecond.
    """
    towards = -1.0 if low else 1.0
    limit = _course_of(limits, now_ms, low=low)
    present, earlier = _lay_out(history, now_ms, clock)
    here = float(present[-1])
    if not isfinite(here):
        return _untold("no recent reading")
    if towards * (here - limit[0]) > 0.0:
        return _untold("beyond the limit now")
    ways = _ways(present, earlier, towards)
    if len(ways) < FEWEST_WAYS:
        return _untold("needs two full days of readings")
    beyond = towards * (np.column_stack([np.full(len(ways), here), ways]) - limit)
    return _interval(_first_passage(beyond), now_ms, clock)


def _untold(why: str) -> Forecast:
    return Forecast(None, None, None, why)


def _course_of(limits: Sequence[LimitAhead], now_ms: int, *, low: bool) -> Column:
    """The limit now and in the middle of each bin ahead; infinitely far where there is none."""
    at_ms = now_ms + np.concatenate([[0], BIN_MS * np.arange(AHEAD) + BIN_MS // 2])
    which = np.searchsorted([limit.from_ms for limit in limits], at_ms, side="right") - 1
    values = [limit.low if low else limit.high for limit in limits]
    never = -np.inf if low else np.inf
    return np.array([never if value is None else value for value in [*values, None]])[which]


def _lay_out(history: History, now_ms: int, clock: ZoneInfo) -> tuple[Column, Rows]:
    """The last half day, and a row for each earlier day: the same hours and what came after."""
    shifts = [shift // BIN_MS for shift in same_hour_shifts(now_ms, clock, DAYS)]
    bins = shifts[-1] + BEFORE + AROUND
    humidity = on_grid(history.at_ms, history.humidity, now_ms, BIN_MS, bins)
    ends = [bins - shift for shift in shifts]
    rows = [humidity[end - BEFORE - AROUND : end + AHEAD + AROUND] for end in ends]
    return humidity[-BEFORE:], np.stack(rows)


def _ways(present: Column, earlier: Rows, towards: float) -> Rows:
    """Courses ahead, a row each, all equally likely."""
    usual = median(earlier)
    begins, here, ends = AROUND, AROUND + BEFORE, AROUND + BEFORE + AHEAD
    departure = present - usual[begins:here]
    tries = sliding_window_view(earlier - usual, BEFORE + AHEAD, axis=1)[:, ::EVERY]
    tries = tries.reshape(-1, BEFORE + AHEAD)
    tries = tries[np.isfinite(tries).all(axis=1)]
    if not isfinite(departure[-1]) or not len(tries):
        return tries
    before, after = tries[:, :BEFORE], tries[:, BEFORE:]
    errors = after - _fading(before)
    ways = usual[here:ends] + _fading(departure[np.newaxis]) + errors

    change = float(_change(departure[np.newaxis])[0])
    scatter = MAD_TO_SIGMA * float(np.median(np.abs(_change(before))))
    strange = towards * change / max(scatter, LEAST_CHANGE_RH)
    share = min(max((strange - SUSPECT) / (CERTAIN - SUSPECT), 0.0), MOST_RUNNING)
    running = round(share * len(ways))
    chosen = np.linspace(0, len(ways) - 1, running).astype(np.intp)
    ways[chosen] = usual[here:ends] + departure[-1] + _runs(change, running) + errors[chosen]
    return np.clip(ways, 0.0, 100.0)


def _fading(departures: Rows) -> Rows:
    """How departures (a row each, newest last) go on if they fade."""
    slow = np.nanmean(departures, axis=1, keepdims=True)
    fast = departures[:, -2:].mean(axis=1, keepdims=True) - slow
    return np.asarray(slow * np.exp(-HOURS / SLOW_H) + fast * np.exp(-HOURS / FAST_H))


def _change(departures: Rows) -> Column:
    """How far each departure has moved in the last half hour, %RH."""
    before = departures[:, -2 - CHANGE : -CHANGE].mean(axis=1)
    return np.asarray(departures[:, -2:].mean(axis=1) - before)


def _runs(change: float, count: int) -> Rows:
    """That many ways in which a change goes on, slowing down sooner or later."""
    slowing = np.geomspace(*RUN_H, count)[:, np.newaxis]
    per_h = np.resize(RUN_FACTORS, count)[:, np.newaxis] * change * PER_HOUR / CHANGE
    return np.asarray(per_h * slowing * (1.0 - np.exp(-HOURS / slowing)))


def _first_passage(beyond: Rows) -> Column:
    """Hours until each way first lies beyond, straight between the bins; infinite if it never does.

    The first column is now, the others are the middles of the bins ahead.
    """
    hours = np.concatenate([[0.0], HOURS - 0.5 / PER_HOUR])
    later = np.argmax(beyond > 0.0, axis=1)
    row = np.arange(len(beyond))
    crosses = beyond[row, later] > 0.0
    later = np.maximum(later, 1)
    short, over = np.minimum(-beyond[row, later - 1], FAR_RH), beyond[row, later]
    part = short / np.where(crosses, short + over, 1.0)
    return np.where(crosses, hours[later - 1] + part * (hours[later] - hours[later - 1]), np.inf)


def _interval(passages: Column, now_ms: int, clock: ZoneInfo) -> Forecast:
    """The 80 % interval: its upper end is open if more than a tenth of the ways never cross."""
    passages = np.sort(passages)
    tail = (1.0 - SHARE) / 2.0
    open_ended = not isfinite(_quantile(passages, 1.0 - tail))
    first = _quantile(passages, 1.0 - SHARE if open_ended else tail)
    if not isfinite(first):
        return _untold(f"not expected within {AHEAD // PER_HOUR} h")
    not_before = max(now_ms, _at(first, now_ms) - MARGIN_MS)
    middle = _quantile(passages, 0.5)
    likely = _at(middle, now_ms) if isfinite(middle) else None
    if open_ended:
        return Forecast(not_before, likely, None, f"not before {_o_clock(not_before, clock)}")
    not_after = _at(_quantile(passages, 1.0 - tail), now_ms) + MARGIN_MS
    says = f"between {_o_clock(not_before, clock)} and {_o_clock(not_after, clock)}"
    return Forecast(not_before, likely, not_after, says)


def _quantile(ordered: Column, share: float) -> float:
    """The value that this share of new ones would not exceed: the k-th of n for k / (n + 1)."""
    return float(ordered[min(max(int(share * (len(ordered) + 1)) - 1, 0), len(ordered) - 1)])


def _at(hours: float, now_ms: int) -> int:
    return now_ms + round(hours * HOUR_MS)


def _o_clock(at_ms: int, clock: ZoneInfo) -> str:
    return dt.datetime.fromtimestamp(at_ms / 1000, clock).strftime("%H:%M")
