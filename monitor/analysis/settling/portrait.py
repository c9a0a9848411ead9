"""What a report shows of a build: the values by day and hour that its criteria rest on.

The numbers are those the assessment judges by, from the same functions.
"""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from monitor.analysis.settling.assessment import CYCLING, Ground, ground
from monitor.analysis.settling.build import Build, Floats
from monitor.analysis.settling.climate import JUDGED, Daily
from monitor.analysis.settling.days import ONE_DAY, local_date
from monitor.analysis.settling.mould import Look
from monitor.analysis.settling.range_time import Share, shares
from monitor.analysis.settling.trend import trend_at
from monitor.quantities import Quantity
from monitor.setup.journal import Inspection
from monitor.species.ranges import Zone, ZoneRange
from monitor.species.settling import SettlingLimits


@dataclass(frozen=True, slots=True)
class Leg:
    """A part of a trend that one probe told: from day to day (numbers, both included), its values.

    A probe that took over from another goes on with the same slope at a level of its own.
    """

    first: int
    last: int
    from_value: float
    to_value: float


@dataclass(frozen=True, slots=True)
class Course:
    """Daily means of one quantity in a zone (NaN: none), and the trend over the last ``window``.

    ``slope`` and ``limit`` are per day; ``slope`` is None, and ``legs`` empty, where days are too
    few. ``without_room``: the slope is what is left once the room's weather is taken out.
    """

    zone: Zone
    quantity: Quantity
    value: Floats
    window: int
    slope: float | None
    limit: float
    legs: tuple[Leg, ...]
    without_room: bool


@dataclass(frozen=True, slots=True)
class Cycle:
    """The hourly means of the last days, shape (days, 24), NaN where unknown; oldest first."""

    zone: Zone
    quantity: Quantity
    hourly: Floats


@dataclass(frozen=True, slots=True)
class Portrait:
    """A build in figures: ``dates`` are the days that courses and shares have a value for each."""

    built_on: dt.date
    today: dt.date
    dates: tuple[dt.date, ...]
    courses: tuple[Course, ...]
    cycles: tuple[Cycle, ...]
    shares: tuple[Share, ...]
    covers: tuple[Look, ...]
    looks: tuple[tuple[dt.date, Inspection], ...]


def portrait(build: Build, limits: SettlingLimits) -> Portrait:
    """What there is to show of a build at ``build.at_ms``."""
    found = ground(build)
    looks = tuple((local_date(look.at_ms, build.clock), look) for look in build.looks())
    return Portrait(
        built_on=found.built_on,
        today=local_date(build.at_ms, build.clock),
        dates=tuple(found.days.first + number * ONE_DAY for number in range(len(found.days))),
        courses=tuple(_courses(found, limits)),
        cycles=tuple(_cycles(found, limits)),
        shares=tuple(_shares(build, found)),
        covers=tuple(
            Look(date, look.mould_cover) for date, look in looks if look.mould_cover is not None
        ),
        looks=looks,
    )


def _courses(found: Ground, limits: SettlingLimits) -> Iterator[Course]:
    for zone, climate in found.zones.items():
        for quantity in filter(climate.has, JUDGED):
            yield _course(zone, quantity, climate.daily(quantity, found.room), limits)


def _course(zone: Zone, quantity: Quantity, daily: Daily, limits: SettlingLimits) -> Course:
    end = len(daily.value)
    trend = trend_at(daily, end, quantity, limits)
    window = trend.window if trend else limits.even_days
    slope = trend.estimate.value if trend else None
    return Course(
        zone=zone,
        quantity=quantity,
        value=daily.value,
        window=window,
        slope=slope,
        limit=limits.trend(quantity),
        legs=() if slope is None else tuple(_legs(daily, end - window, slope)),
        without_room=bool(len(daily.beside)),
    )


def _legs(daily: Daily, start: int, slope: float) -> Iterator[Leg]:
    """The line with this slope through the middle of what each probe told."""
    day = start + np.flatnonzero(~np.isnan(daily.value[start:]))
    for source in np.unique(daily.source[day]).tolist():
        mine = day[daily.source[day] == source]
        first, last = int(mine[0]), int(mine[-1])
        level, middle = float(daily.value[mine].mean()), float(mine.mean())
        yield Leg(first, last, level + slope * (first - middle), level + slope * (last - middle))


def _cycles(found: Ground, limits: SettlingLimits) -> Iterator[Cycle]:
    for zone, climate in found.zones.items():
        for quantity in filter(climate.has, CYCLING):
            yield Cycle(zone, quantity, climate.hourly(quantity)[-limits.recent_days :])


def _shares(build: Build, found: Ground) -> Iterator[Share]:
    for zone, climate in found.zones.items():
        lit = build.is_day(climate.days.bin_ms)
        yield from shares(climate, build.ranges.get(zone, ZoneRange()), lit)
