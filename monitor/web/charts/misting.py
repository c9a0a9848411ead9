"""The drawings of the misting page: a predicted day, the trade-off of plans, what is left over."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.analysis.misting import Goal, Prediction, Schedule
from monitor.store.readings import Floats, Ints
from monitor.web.charts.course import HEIGHT, WIDTH, Patch
from monitor.web.charts.scale import Scale, Tick, linear, round_numbers, widened

DAY_H = 24.0
NARROWEST_RH = 20.0
HOURS = tuple(range(0, 25, 6))
LEVELS = 4
BEYOND = 4.0
"""Standard deviations at which a residual is drawn at most."""


@dataclass(frozen=True, slots=True)
class MistedDay:
    """Humidity through a day under a schedule, in drawing units; ticks in percent."""

    bands: tuple[Patch, ...]
    dark: tuple[Patch, ...]
    hull: str
    line: str
    drops: tuple[float, ...]
    levels: tuple[Tick, ...]
    hours: tuple[Tick, ...]


class Offer(NamedTuple):
    """A plan among others: its place in percent, rightwards and downwards."""

    number: int
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class TradeOff:
    """Plans by their seconds a day and by what they promise."""

    offers: tuple[Offer, ...]
    seconds: tuple[Tick, ...]
    shares: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class Leftover:
    """Residuals as dots of one path, in drawing units; ``within`` two deviations is a share."""

    dots: str
    within: float
    count: int


def misted_day(
    predicted: Prediction,
    goal: Goal,
    schedule: Schedule,
    lights: tuple[dt.time, dt.time],
) -> MistedDay:
    """Draw what a schedule is predicted to give; ``lights``: on and off, on the clock."""
    band = predicted.humidity
    low, high = widened(
        min(float(band.low.min()), goal.day.low, goal.night.low),
        max(float(band.high.max()), goal.day.high, goal.night.high),
        NARROWEST_RH,
    )
    x, y = linear(0, DAY_H, 0, WIDTH), linear(low, high, HEIGHT, 0)
    step_h = DAY_H / len(band.middle)
    hours = (np.arange(len(band.middle), dtype=np.float64) + 0.5) * step_h
    lit, unlit = _phases(*map(_hour, lights))
    wanted = [*((span, goal.day) for span in lit), *((span, goal.night) for span in unlit)]
    return MistedDay(
        bands=tuple(
            Patch(
                x(start),
                y(span.high),
                round(x(end) - x(start), 2),
                round(y(span.low) - y(span.high), 2),
            )
            for (start, end), span in wanted
        ),
        dark=tuple(Patch(x(a), 0.0, round(x(b) - x(a), 2), HEIGHT) for a, b in unlit),
        hull=f"{_points(hours, band.high, x, y)} {_points(hours[::-1], band.low[::-1], x, y)}",
        line=_points(hours, band.middle, x, y),
        drops=tuple(round(100 * _hour(spray.at) / DAY_H, 2) for spray in schedule),
        levels=tuple(Tick(y(each), f"{each:g}") for each in round_numbers(low, high, LEVELS)),
        hours=tuple(Tick(round(100 * hour / DAY_H, 2), f"{hour % 24:02d}:00") for hour in HOURS),
    )


def trade_off(plans: Sequence[tuple[float, float]]) -> TradeOff:
    """Draw plans, each its seconds a day and the share it promises (0 to 1), numbered from 1."""
    seconds, shares = ([each[n] for each in plans] for n in (0, 1))
    left, right = _roomy(min(seconds), max(seconds), 10.0)
    low, high = _roomy(100 * min(shares), 100 * max(shares), 6.0)
    x, y = linear(left, right, 0, 100), linear(low, high, 100, 0)
    return TradeOff(
        offers=tuple(
            Offer(number, x(each[0]), y(100 * each[1])) for number, each in enumerate(plans, 1)
        ),
        seconds=tuple(Tick(x(each), f"{each:g} s") for each in round_numbers(left, right, LEVELS)),
        shares=tuple(Tick(y(each), f"{each:g}") for each in round_numbers(low, high, LEVELS)),
    )


def leftover(at_ms: Ints, value: Floats, start_ms: int, end_ms: int) -> Leftover:
    """Draw residuals (standard deviations) over a time."""
    there = np.isfinite(value)
    at_ms, value = at_ms[there], value[there]
    x, y = linear(start_ms, end_ms, 0, WIDTH), linear(-BEYOND, BEYOND, HEIGHT, 0)
    shown = np.clip(value, -BEYOND, BEYOND)
    dots = "".join(
        f"M{x(at):g},{y(each):g}h0" for at, each in zip(at_ms.tolist(), shown.tolist(), strict=True)
    )
    within = float(np.mean(np.abs(value) <= 2.0)) if len(value) else 1.0
    return Leftover(dots, within, len(value))


def _roomy(low: float, high: float, least: float) -> tuple[float, float]:
    """A span with room for a mark at either end."""
    margin = 0.2 * max(high - low, least)
    return low - margin, high + margin


def _phases(on: float, off: float) -> tuple[list[tuple[float, float]], list[tuple[float, float]]]:
    """Hours of light and of dark within one day; lights that never change are always on."""
    if on == off:
        return [(0.0, DAY_H)], []
    first, last = sorted((on, off))
    inner, outer = [(first, last)], [(0.0, first), (last, DAY_H)]
    outer = [(start, end) for start, end in outer if end > start]
    return (inner, outer) if on < off else (outer, inner)


def _hour(time: dt.time) -> float:
    return time.hour + time.minute / 60 + time.second / 3600


def _points(hours: Floats, value: Floats, x: Scale, y: Scale) -> str:
    return " ".join(
        f"{x(hour):g},{y(each):g}"
        for hour, each in zip(hours.tolist(), value.tolist(), strict=True)
    )
