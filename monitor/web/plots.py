"""The plots of the settling report, as shapes in drawing units; the template only writes them out.

Every dot and bar carries its words, with the value it stands for.
"""

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.analysis.settling.criteria import Name
from monitor.analysis.settling.portrait import Course, Cycle, Portrait
from monitor.analysis.settling.range_time import Share
from monitor.quantities import Quantity
from monitor.setup.journal import Inspection

WIDTH = 720.0
HALF = 0.5 * WIDTH
LEFT, RIGHT, TOP, BOTTOM = 62.0, 20.0, 10.0, 24.0
"""Room for the labels around the field of a plot."""
SIGNS = {Quantity.TEMPERATURE: "°C", Quantity.HUMIDITY: "%", Quantity.VAPOUR_PRESSURE: "kPa"}
DIGITS = {Quantity.TEMPERATURE: 1, Quantity.HUMIDITY: 1, Quantity.VAPOUR_PRESSURE: 3}
SHADES = 6
"""Curves of a cycle are drawn in so many steps from pale, the oldest, to dark."""
BARS_OF_DAYS = 28
MOST_COVER = 5
DATE_WIDTH = 46.0
"""Room that a date takes below a plot."""


class Box(NamedTuple):
    """A rectangle of a kind, with what it says."""

    kind: str
    x: float
    y: float
    width: float
    height: float
    says: str = ""


class Path(NamedTuple):
    """A polyline or polygon of a kind: points as SVG writes them."""

    kind: str
    points: str


class Dot(NamedTuple):
    """A mark of a kind, with what it says."""

    kind: str
    x: float
    y: float
    says: str


class Label(NamedTuple):
    """A word: beside the left edge, or below the field."""

    kind: str
    x: float
    y: float
    says: str


@dataclass(frozen=True, slots=True)
class Plot:
    """One drawing; ``says`` stands for it where it is not seen."""

    title: str
    says: str
    height: float
    grid: tuple[Path, ...] = ()
    areas: tuple[Path, ...] = ()
    boxes: tuple[Box, ...] = ()
    lines: tuple[Path, ...] = ()
    dots: tuple[Dot, ...] = ()
    labels: tuple[Label, ...] = ()
    width: float = HALF


@dataclass(frozen=True, slots=True)
class Axis:
    """A straight scale from values to drawing units."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Where a value is drawn."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 2)

    def ticks(self, most: int = 5) -> list[float]:
        """Round values, at most so many."""
        rough = (self.high - self.low) / most
        power = 10.0 ** math.floor(math.log10(rough))
        step = power * next(each for each in (1, 2, 5, 10) if each * power >= rough * (1 - 1e-9))
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        return [round(number * step, 9) for number in range(first, last + 1)]


def course_plot(course: Course, dates: Sequence[dt.date], title: str, says: str) -> Plot:
    """Daily means, their trend, and the slopes that the limit allows, about the trend's middle."""
    height = 170.0
    x = Axis(-0.5, max(len(dates), 2) - 0.5, LEFT, HALF - RIGHT)
    known = np.flatnonzero(~np.isnan(course.value))
    fan = _fan(course)
    # The field is never lower than the fan, so that what the limit allows always looks small.
    y = _padded([*course.value[known].tolist(), *(value for _, value in fan)], height)
    days = known.tolist()
    return Plot(
        title=title,
        says=says,
        height=height,
        grid=_grid(y),
        areas=(_path("allowed", [(x(day), y(value)) for day, value in fan]),)
        if course.legs
        else (),
        lines=(
            *(
                _path("daily", [(x(day), y(float(course.value[day]))) for day in run])
                for run in _runs(days)
            ),
            *(
                _path("trend", [(x(leg.first), y(leg.from_value)), (x(leg.last), y(leg.to_value))])
                for leg in course.legs
            ),
        ),
        dots=tuple(
            Dot(
                "mean",
                x(day),
                y(float(course.value[day])),
                f"{_date(dates[day])}: {_value(float(course.value[day]), course.quantity)}",
            )
            for day in days
        ),
        labels=(*_heights(y, course.quantity), *_dates(x, dates, height)),
    )


def cycle_plot(cycle: Cycle, title: str, says: str) -> Plot:
    """The courses of the last days over one another, from midnight to midnight."""
    height = 170.0
    x = Axis(0.0, 24.0, LEFT, HALF - RIGHT)
    known = cycle.hourly[~np.isnan(cycle.hourly)]
    y = _padded(known.tolist(), height)
    lines = []
    for number, hours in enumerate(cycle.hourly):
        shade = SHADES - min(SHADES, len(cycle.hourly) - 1 - number)
        for run in _runs(np.flatnonzero(~np.isnan(hours)).tolist()):
            points = [(x(hour + 0.5), y(float(hours[hour]))) for hour in run]
            lines.append(_path(f"day shade-{shade}", points))
    return Plot(
        title=title,
        says=says,
        height=height,
        grid=_grid(y),
        lines=tuple(lines),
        labels=(
            *_heights(y, cycle.quantity),
            *(
                Label("along", x(hour), height - 7.0, f"{hour % 24:02d}:00")
                for hour in (0, 6, 12, 18, 24)
            ),
        ),
    )


def mould_plot(portrait: Portrait, title: str, says: str) -> Plot:
    """The cover at each look, and what else the looks found, a row each, from the first day on."""
    field, row = 120.0, 18.0
    height = field + 3 * row + TOP + BOTTOM
    days = max((portrait.today - portrait.built_on).days, 1)
    x = Axis(-0.5, days + 0.5, LEFT + 34.0, WIDTH - RIGHT)
    y = Axis(0.0, MOST_COVER, TOP + field, TOP)
    covers = [((look.date - portrait.built_on).days, look.cover) for look in portrait.covers]
    looked = [
        ((date - portrait.built_on).days, date, look)
        for date, look in portrait.looks
        if date >= portrait.built_on
    ]
    covers = [each for each in covers if each[0] >= 0]
    rows = [("springtails", TOP + field + row), ("isopods", TOP + field + 2 * row)]
    rows.append(("plants", TOP + field + 3 * row))
    found = [
        Dot(kind, x(day), at, f"{_date(date)}: {name} {says_it}")
        for day, date, look in looked
        for name, at in rows
        for kind, says_it in _found(look, name)
    ]
    return Plot(
        title=title,
        says=says,
        height=height,
        grid=tuple(
            _path("grid", [(x(x.low), y(cover)), (x(x.high), y(cover))])
            for cover in range(MOST_COVER + 1)
        ),
        lines=(_path("cover", [(x(day), y(cover)) for day, cover in covers]),) if covers else (),
        dots=(
            *(
                Dot(
                    "mould" if cover else "clean",
                    x(day),
                    y(cover),
                    f"{_date(portrait.built_on + dt.timedelta(day))}: cover {cover} of 5",
                )
                for day, cover in covers
            ),
            *found,
        ),
        labels=(
            *(Label("beside", x(x.low) - 6.0, y(n), str(n)) for n in range(MOST_COVER + 1)),
            *(Label("beside", x(x.low) - 6.0, at, name) for name, at in rows),
            *_dates(x, [portrait.built_on + dt.timedelta(n) for n in range(days + 1)], height),
        ),
        width=WIDTH,
    )


def share_plot(
    of_day: Share | None,
    of_night: Share | None,
    dates: Sequence[dt.date],
    least: float,
    title: str,
    says: str,
) -> Plot:
    """The time in range of the last days, by day (pale) and by night (dark), against the least."""
    height = 130.0
    first = max(0, len(dates) - BARS_OF_DAYS)
    shown = dates[first:]
    x = Axis(-0.5, max(len(shown), 1) - 0.5, LEFT, HALF - RIGHT)
    y = Axis(0.0, 100.0, height - BOTTOM, TOP)
    boxes = [
        box
        for share, offset in ((of_day, -0.4), (of_night, 0.02))
        if share is not None
        for box in _bars(share, offset, first, shown, x, y)
    ]
    return Plot(
        title=title,
        says=says,
        height=height,
        grid=tuple(
            _path("grid", [(LEFT, y(percent)), (HALF - RIGHT, y(percent))])
            for percent in (0.0, 50.0, 100.0)
        ),
        boxes=tuple(boxes),
        lines=(_path("least", [(LEFT, y(least)), (HALF - RIGHT, y(least))]),),
        labels=(
            *(
                Label("beside", LEFT - 6.0, y(percent), f"{percent:g} %")
                for percent in (0.0, 50.0, 100.0)
            ),
            *_dates(x, shown, height),
        ),
    )


def _fan(course: Course) -> list[tuple[float, float]]:
    """The corners of what the limit allows over the trend's window: a bow tie about its middle.

    None, if no day of the window has a value.
    """
    last = len(course.value) - 1
    first = last - course.window + 1
    middle = 0.5 * (first + last)
    here = course.value[max(first, 0) :]
    here = here[~np.isnan(here)]
    if not len(here):
        return []
    level, reach = float(here.mean()), course.limit * (last - middle)
    corners = ((first, -reach), (last, reach), (last, -reach), (first, reach))
    return [(day, level + away) for day, away in corners]


def _found(look: Inspection, name: str) -> Iterator[tuple[str, str]]:
    """The mark of a finding and its words; none where nothing was told of it."""
    if name == "plants":
        if look.plants is not None:
            yield (
                {"rooted": "seen", "standing": "part", "wilting": "missed"}[look.plants],
                (look.plants),
            )
        return
    seen = look.springtails_seen if name == "springtails" else look.isopods_seen
    if seen is not None:
        yield ("seen", "seen") if seen else ("missed", "not seen")


def _bars(
    share: Share, offset: float, first: int, shown: Sequence[dt.date], x: Axis, y: Axis
) -> Iterator[Box]:
    night = share.name is Name.TIME_IN_RANGE_NIGHT
    for number, percent in enumerate(share.percent[first:].tolist()):
        if math.isnan(percent):
            continue
        left, right, top = x(number + offset), x(number + offset + 0.38), y(percent)
        yield Box(
            "night" if night else "light",
            left,
            top,
            round(right - left, 2),
            round(y(0.0) - top, 2),
            f"{_date(shown[number])} by {'night' if night else 'day'}: {percent:.0f} %",
        )


def _padded(values: Sequence[float], height: float) -> Axis:
    low, high = min(values), max(values)
    room = 0.08 * (high - low) or 0.5
    return Axis(low - room, high + room, height - BOTTOM, TOP)


def _runs(numbers: Sequence[int]) -> Iterator[list[int]]:
    """Numbers that follow on one another, run by run: a gap in the days is a gap in the line."""
    run: list[int] = []
    for number in numbers:
        if run and number != run[-1] + 1:
            yield run
            run = []
        run.append(number)
    if run:
        yield run


def _grid(y: Axis) -> tuple[Path, ...]:
    return tuple(_path("grid", [(LEFT, y(value)), (HALF - RIGHT, y(value))]) for value in y.ticks())


def _heights(y: Axis, quantity: Quantity) -> Iterator[Label]:
    ticks = y.ticks()
    digits = max((_digits(tick) for tick in ticks), default=0)
    for tick in ticks:
        yield Label("beside", LEFT - 6.0, y(tick), f"{tick:.{digits}f} {SIGNS[quantity]}")


def _digits(value: float) -> int:
    return len(f"{value:.4f}".rstrip("0").partition(".")[2])


def _dates(x: Axis, dates: Sequence[dt.date], height: float) -> Iterator[Label]:
    """A date each week, or more seldom where they would touch, counted back from the last."""
    every = 7 * max(1, math.ceil(DATE_WIDTH * len(dates) / (7.0 * (x.end - x.start))))
    for number in range(len(dates) - 1, -1, -every):
        yield Label("along", x(number), height - 7.0, _date(dates[number]))


def _date(date: dt.date) -> str:
    return f"{date.day} {date:%b}"


def _value(value: float, quantity: Quantity) -> str:
    return f"{value:.{DIGITS[quantity]}f} {SIGNS[quantity]}"


def _path(kind: str, points: Sequence[tuple[float, float]]) -> Path:
    return Path(kind, " ".join(f"{x:g},{y:g}" for x, y in points))
