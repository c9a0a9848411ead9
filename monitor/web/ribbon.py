"""The last day and night as a ribbon: humidity, the band it should keep, and the mistings."""

import datetime as dt
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from monitor.setup.daylight import Daylight
from monitor.setup.journal import Misted
from monitor.setup.models import Span, ZoneRange
from monitor.store.readings import Buckets, Flags, Floats, Ints
from monitor.times import HOUR_MS, MINUTE_MS
from monitor.web import words

WINDOW_MS = 24 * HOUR_MS
STEP_S = 900
STEP_MS = 1000 * STEP_S
WIDTH, HEIGHT = 1000.0, 100.0
"""The drawing's own units; the page stretches it."""
TICK_H = 4
_GAP_STEPS = 2.5
"""A longer pause between two points breaks the line."""

Scale = Callable[[float], float]


class Patch(NamedTuple):
    """A rectangle in drawing units."""

    x: float
    y: float
    width: float
    height: float


class Mark(NamedTuple):
    """Something at a time (or a height), in percent, with its words."""

    at: float
    says: str


@dataclass(frozen=True, slots=True)
class Ribbon:
    """What is drawn: patches and lines in drawing units, marks in percent.

    ``says`` tells how the night went; ``drops_say`` lists the mistings for those who do not see
    the drawing.
    """

    title: str
    nights: tuple[Patch, ...]
    bands: tuple[Patch, ...]
    strayed: tuple[Patch, ...]
    lines: tuple[str, ...]
    drops: tuple[Mark, ...]
    ticks: tuple[Mark, ...]
    limits: tuple[Mark, ...]
    """Ends of the band that holds now, in percent from the top."""
    says: str
    drops_say: str


def ribbon(
    zone_name: str,
    buckets: Buckets,
    period_s: float,
    mistings: Sequence[Misted],
    wanted: ZoneRange | None,
    daylight: Daylight,
    now_ms: int,
) -> Ribbon | None:
    """The 24 hours up to the end of this quarter of an hour; None if there is nothing to draw.

    ``buckets`` holds the humidity of one probe that reports every ``period_s``, ``mistings`` those
    of the enclosure. The window moves by quarters, so that the past stays where it was drawn.
    """
    end_ms = window_end(now_ms)
    start_ms = end_ms - WINDOW_MS
    course = _Course.cut(buckets, period_s, start_ms, now_ms)
    if not len(course.mean):
        return None
    parts = _parts(_spans(wanted), daylight, start_ms, end_ms)
    limits = _limits_at(parts, course.middle_ms)
    low, high = _bounds(course, parts)
    x, y = _scale(start_ms, end_ms, WIDTH), _scale(high, low, HEIGHT)
    recent = sorted(m.at_ms for m in mistings if start_ms <= m.at_ms <= now_ms)
    seconds = {misted.at_ms: misted.seconds for misted in mistings}
    drops = tuple(
        Mark(x(at_ms) / 10, _misted(_time(at_ms, daylight), seconds[at_ms])) for at_ms in recent
    )
    return Ribbon(
        title=words.RIBBON.format(zone_name),
        nights=tuple(
            _patch(x(part.start_ms), x(part.end_ms), 0.0, HEIGHT) for part in parts if not part.day
        ),
        bands=tuple(
            _patch(x(part.start_ms), x(part.end_ms), y(part.span.high), y(part.span.low))
            for part in parts
            if part.span is not None
        ),
        strayed=tuple(_strayed(course, limits, x, y)),
        lines=tuple(
            _lines(
                course,
                WIDTH * (course.middle_ms - start_ms) / WINDOW_MS,
                HEIGHT * (high - course.mean) / (high - low),
            )
        ),
        drops=drops,
        ticks=_ticks(daylight.zone, start_ms, end_ms),
        limits=_limits(_span_at(parts, now_ms), y),
        says=_says(zone_name, course, parts, limits, daylight, now_ms),
        drops_say=words.MISTINGS.format("; ".join(drop.says for drop in drops)) if drops else "",
    )


def window_end(now_ms: int) -> int:
    """Where the window ends: at the end of this quarter of an hour."""
    return -(-now_ms // STEP_MS) * STEP_MS


@dataclass(frozen=True, slots=True)
class _Course:
    """The humidity of one probe, a point each ``step_ms``, none before the window or after now."""

    step_ms: int
    at_ms: Ints
    middle_ms: Ints
    until_ms: Ints
    """Where a point begins, where it is drawn, and where it ends."""
    mean: Floats
    low: Floats
    high: Floats

    @classmethod
    def cut(cls, buckets: Buckets, period_s: float, start_ms: int, end_ms: int) -> "_Course":
        width_ms = 1000 * buckets.resolution_s
        step_ms = max(width_ms, round(1000 * period_s))
        inside = (buckets.at_ms + width_ms >= start_ms) & (buckets.at_ms <= end_ms)
        at_ms = buckets.at_ms[inside]
        return cls(
            step_ms=step_ms,
            at_ms=np.maximum(at_ms, start_ms),
            middle_ms=np.minimum(np.maximum(at_ms + width_ms // 2, start_ms), end_ms),
            until_ms=np.minimum(at_ms + step_ms, end_ms),
            mean=buckets.mean[inside],
            low=buckets.low[inside],
            high=buckets.high[inside],
        )


@dataclass(frozen=True, slots=True)
class _Part:
    """A stretch of one light, cut to the window, with the span that holds in it."""

    start_ms: int
    end_ms: int
    day: bool
    span: Span | None


def _spans(wanted: ZoneRange | None) -> tuple[Span | None, Span | None]:
    """What humidity should be by night and by day."""
    return (wanted.night.humidity, wanted.day.humidity) if wanted else (None, None)


@lru_cache(maxsize=4096)
def _parts(
    spans: tuple[Span | None, Span | None], daylight: Daylight, start_ms: int, end_ms: int
) -> tuple[_Part, ...]:
    """Days and nights of the window; enclosures with the same lamps and needs share them."""
    edges, days = daylight.segments(start_ms, end_ms)
    parts = (
        _Part(max(since, start_ms), min(until, end_ms), day, spans[day])
        for since, until, day in zip(
            edges[:-1].tolist(), edges[1:].tolist(), days.tolist(), strict=True
        )
    )
    return tuple(part for part in parts if part.start_ms < part.end_ms)


def _span_at(parts: Sequence[_Part], at_ms: int) -> Span | None:
    return next((part for part in parts if at_ms < part.end_ms), parts[-1]).span


def _limits_at(parts: Sequence[_Part], at_ms: Ints) -> tuple[Floats, Floats]:
    """The lower and the upper limit that hold at each time; infinitely far where there is none."""
    part = np.searchsorted([part.end_ms for part in parts[:-1]], at_ms, side="right")
    low = [-np.inf if each.span is None else each.span.low for each in parts]
    high = [np.inf if each.span is None else each.span.high for each in parts]
    return np.array(low)[part], np.array(high)[part]


def _scale(low: float, high: float, length: float) -> Scale:
    return lambda value: round(length * (value - low) / (high - low), 2)


def _bounds(course: _Course, parts: Sequence[_Part]) -> tuple[float, float]:
    """Whole tens that hold the line and every band with a little room."""
    spans = [part.span for part in parts if part.span is not None]
    lowest = min([float(course.mean.min()), *(span.low for span in spans)])
    highest = max([float(course.mean.max()), *(span.high for span in spans)])
    low = max(float(np.floor(lowest / 10 - 0.3)) * 10, 0.0)
    high = min(float(np.ceil(highest / 10 + 0.3)) * 10, 100.0)
    return low, high


def _patch(left: float, right: float, top: float, bottom: float) -> Patch:
    return Patch(left, top, round(right - left, 2), round(bottom - top, 2))


def _strayed(course: _Course, limits: tuple[Floats, Floats], x: Scale, y: Scale) -> Iterator[Patch]:
    """What lies between the line and the limit that it crossed."""
    low, high = limits
    for n in np.flatnonzero((course.mean < low) | (course.mean > high)).tolist():
        mean = float(course.mean[n])
        top, bottom = sorted((y(mean), y(float(low[n] if mean < low[n] else high[n]))))
        yield _patch(x(int(course.at_ms[n])), x(int(course.until_ms[n])), top, bottom)


def _lines(course: _Course, x: Floats, y: Floats) -> Iterator[str]:
    """Points of one polyline after another; a gap in the readings is a gap in the line."""
    across, down = x.round(1).tolist(), y.round(1).tolist()
    points = [*map("%g,%g".__mod__, zip(across, down, strict=True))]
    breaks = np.flatnonzero(np.diff(course.middle_ms) > _GAP_STEPS * course.step_ms) + 1
    for first, last in pairwise((0, *breaks.tolist(), len(points))):
        yield " ".join(points[first:last])


def _time(at_ms: int, daylight: Daylight) -> str:
    """A time of the last day by the enclosure's clock, which needs no date."""
    return f"{dt.datetime.fromtimestamp(at_ms / 1000, daylight.zone):%H:%M}"


def _misted(at: str, seconds: float | None) -> str:
    return at if seconds is None else words.FOR_SECONDS.format(at, seconds)


@lru_cache(maxsize=256)
def _ticks(zone: ZoneInfo, start_ms: int, end_ms: int) -> tuple[Mark, ...]:
    """Whole hours on the enclosure's own clock, every fourth."""
    x = _scale(start_ms, end_ms, 100.0)
    first = dt.datetime.fromtimestamp(start_ms / 1000, zone)
    wall = first.replace(hour=first.hour // TICK_H * TICK_H, minute=0, second=0, microsecond=0)
    ticks = []
    for step in range(WINDOW_MS // (TICK_H * HOUR_MS) + 2):
        at = wall + dt.timedelta(hours=TICK_H * step)  # along the wall clock, as aware times go
        at_ms = round(at.timestamp() * 1000)
        if start_ms <= at_ms <= end_ms:
            ticks.append(Mark(x(at_ms), f"{at:%H:%M}"))
    return tuple(ticks)


def _limits(span: Span | None, y: Scale) -> tuple[Mark, ...]:
    if span is None:
        return ()
    return tuple(Mark(y(limit), f"{limit:g} %") for limit in (span.high, span.low))


def _says(
    zone_name: str,
    course: _Course,
    parts: Sequence[_Part],
    limits: tuple[Floats, Floats],
    daylight: Daylight,
    now_ms: int,
) -> str:
    """How the last night went; without a night, the last 24 hours."""
    when, during = _last_night(course, parts, now_ms)
    low, high, mean = course.low[during], course.high[during], course.mean[during]
    lower, upper = (limit[during] for limit in limits)
    last = _span_at(parts, int(course.middle_ms[during][-1]))
    damp_side = last is not None and last.high - high.max() < low.min() - last.low
    worst = int(high.argmax() if damp_side else low.argmin())
    told = (
        words.capital(zone_name),
        when,
        f"{low.min():.0f}",
        f"{high.max():.0f}",
        words.DAMPEST if damp_side else words.DRIEST,
        _time(int(course.at_ms[during][worst]), daylight),
    )
    strayed = int(np.count_nonzero((mean < lower) | (mean > upper)))
    if not strayed:
        return words.HELD.format(*told)
    minutes = max(round(strayed * course.step_ms / MINUTE_MS), 1)
    return words.STRAYED.format(*told, words.duration(minutes))


def _last_night(course: _Course, parts: Sequence[_Part], now_ms: int) -> tuple[str, Flags]:
    """What to call the time that is told of, and which points lie in it."""
    for part in reversed(parts):
        during = (course.middle_ms >= part.start_ms) & (course.middle_ms <= part.end_ms)
        if not part.day and during.any():
            return words.NIGHT_NOW if now_ms <= part.end_ms else words.NIGHT_OVER, during
    return words.A_DAY, np.ones(len(course.mean), np.bool_)
