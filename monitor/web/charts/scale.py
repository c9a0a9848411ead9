"""Scales and their ticks: round numbers, and hours, days and months on an enclosure's clock."""

import datetime as dt
import math
from collections.abc import Callable, Iterator
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.times import DAY_MS, HOUR_MS, day_in_words

Scale = Callable[[float], float]

_ROUND = (1, 2, 2.5, 5, 10)
_HOURS = (1, 2, 3, 4, 6, 12)
_DAYS = (1, 2, 4, 7, 14)
_MONTHS = (1, 2, 3, 6, 12, 24)
_MONTH_MS = 30 * DAY_MS


class Tick(NamedTuple):
    """A mark on an axis: where, in percent of its length, and its words."""

    at: float
    says: str


def linear(low: float, high: float, start: float, end: float) -> Scale:
    """Takes ``low`` to ``start`` and ``high`` to ``end``, rounded for drawing."""
    factor = (end - start) / (high - low)
    return lambda value: round(start + factor * (value - low), 2)


def round_numbers(low: float, high: float, about: int) -> list[float]:
    """Round numbers within a span, about as many as asked for."""
    rough = (high - low) / max(about, 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = min((power * each for each in _ROUND), key=lambda each: abs(math.log(each / rough)))
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(number * step, 10) for number in range(first, last + 1)]


def widened(low: float, high: float, least: float) -> tuple[float, float]:
    """A span with a little room on both sides, never narrower than ``least``."""
    middle, half = (low + high) / 2, max(high - low, least) / 2 * 1.08
    return middle - half, middle + half


def time_ticks(zone: ZoneInfo, start_ms: int, end_ms: int, about: int) -> list[Tick]:
    """Whole hours, days or months on the clock of ``zone``."""
    x = linear(start_ms, end_ms, 0, 100)
    return [Tick(x(at_ms), says) for at_ms, says in instants(zone, start_ms, end_ms, about)]


def instants(zone: ZoneInfo, start_ms: int, end_ms: int, about: int) -> list[tuple[int, str]]:
    """The times of these ticks, with their words."""
    return [
        (at_ms, says)
        for at_ms, says in _instants(zone, start_ms, end_ms, (end_ms - start_ms) / about)
        if start_ms <= at_ms <= end_ms
    ]


def _instants(
    zone: ZoneInfo, start_ms: int, end_ms: int, rough_ms: float
) -> Iterator[tuple[int, str]]:
    first = dt.datetime.fromtimestamp(start_ms / 1000, zone)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    if rough_ms <= _HOURS[-1] * HOUR_MS:
        hours = next(each for each in _HOURS if each * HOUR_MS >= rough_ms)
        count = (end_ms - start_ms) // (hours * HOUR_MS) + 48 // hours
        # Along the wall clock, as aware times go.
        walls = (midnight + dt.timedelta(hours=hours * n) for n in range(count))
        yield from ((_ms(wall), _hour(wall)) for wall in walls)
    elif rough_ms <= _DAYS[-1] * DAY_MS:
        days = next(each for each in _DAYS if each * DAY_MS >= rough_ms)
        # Counted from one day for all spans, so that ticks stay where they are while one moves.
        offset = midnight.toordinal() % days
        count = (end_ms - start_ms) // (days * DAY_MS) + 3
        walls = (midnight + dt.timedelta(days=days * n - offset) for n in range(count))
        yield from ((_ms(wall), day_in_words(wall.date())) for wall in walls)
    else:
        months = next((each for each in _MONTHS if each * _MONTH_MS >= rough_ms), _MONTHS[-1])
        number = (midnight.year * 12 + midnight.month - 1) // months * months
        while True:
            year, month = divmod(number, 12)
            wall = dt.datetime(year, month + 1, 1, tzinfo=zone)
            if _ms(wall) > end_ms:
                return
            yield _ms(wall), f"{year}" if month == 0 else day_in_words(wall.date()).split()[1]
            number += months


def _hour(wall: dt.datetime) -> str:
    midnight = not (wall.hour or wall.minute)
    return day_in_words(wall.date()) if midnight else f"{wall:%H:%M}"


def _ms(wall: dt.datetime) -> int:
    return round(wall.timestamp() * 1000)
