"""The course of a quantity: a strip for each probe, from the top of the enclosure down.

All strips share the axis of time and the scale of values. A strip holds the range as a band, the
lowest and highest of each bucket as a hull, the mean as a line, and what strayed filled in between
line and limit.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from monitor.quantities import Quantity
from monitor.setup.models import Probe
from monitor.store.readings import Buckets, Floats, Ints
from monitor.times import SECOND_MS
from monitor.web import words
from monitor.web.charts.scale import Scale, Tick, linear, round_numbers, widened
from monitor.web.charts.wanted import Part, limits_at
from monitor.web.units import Units

WIDTH, HEIGHT = 1000.0, 100.0
"""The drawing's own units; the page stretches it."""
_GAP_STEPS = 2.5
"""A longer pause between two points breaks the line."""
_NARROWEST = {"%": 10.0, "°C": 4.0, "°F": 8.0, "kPa": 0.4, "hPa": 4.0}
"""Less than this is never blown up to fill a strip, by sign; others: 1."""
_LEVELS = 3


class Patch(NamedTuple):
    """A rectangle in drawing units."""

    x: float
    y: float
    width: float
    height: float


class Record(NamedTuple):
    """What one probe measured, and what it should have."""

    probe: Probe
    name: str
    buckets: Buckets
    parts: Sequence[Part]


@dataclass(frozen=True, slots=True)
class Strip:
    """One probe's course; ``says`` tells it in words, for all who cannot see it."""

    probe: str
    name: str
    says: str
    bands: tuple[Patch, ...]
    hulls: tuple[str, ...]
    strayed: tuple[Patch, ...]
    lines: tuple[str, ...]
    levels: tuple[Tick, ...]
    """Round values, in percent from the top."""


@dataclass(frozen=True, slots=True)
class Course:
    """All strips, and the numbers they are drawn from as a script reads them."""

    sign: str
    strips: tuple[Strip, ...]
    spec: Mapping[str, Any]


def course(
    records: Sequence[Record],
    quantity: Quantity,
    start_ms: int,
    end_ms: int,
    zone: str,
    units: Units,
) -> Course:
    """Draw the records of one quantity from start to end; ``zone`` names the time zone."""
    convert = units.of(quantity)
    low, high = _bounds(records, units, quantity)
    x, y = linear(start_ms, end_ms, 0, WIDTH), linear(low, high, HEIGHT, 0)

    def height(value: float) -> float:
        return y(convert(value))

    levels = tuple(Tick(y(value), f"{value:g}") for value in round_numbers(low, high, _LEVELS))
    return Course(
        sign=units.sign(quantity),
        strips=tuple(
            _strip(
                each,
                quantity,
                (start_ms, end_ms),
                units,
                x,
                lambda value: y(convert(value)),
                levels,
            )
            for each in records
        ),
        spec={
            "quantity": quantity,
            "start": start_ms,
            "end": end_ms,
            "zone": zone,
            "sign": units.sign(quantity),
            "digits": units.digits(quantity),
            "times": convert(1.0) - convert(0.0),
            "plus": convert(0.0),
            "strips": [
                {
                    "probe": each.probe.id,
                    "name": each.name,
                    "resolution_s": each.buckets.resolution_s,
                    "points": points(each.buckets),
                }
                for each in records
            ],
        },
    )


def points(buckets: Buckets) -> list[tuple[int, float, float, float]]:
    """Start, mean, lowest and highest of each bucket, in the store's unit."""
    return [
        *zip(
            buckets.at_ms.tolist(),
            buckets.mean.round(4).tolist(),
            buckets.low.round(4).tolist(),
            buckets.high.round(4).tolist(),
            strict=True,
        )
    ]


def _bounds(records: Sequence[Record], units: Units, quantity: Quantity) -> tuple[float, float]:
    """What holds every reading and every range, in the viewer's unit."""
    convert = units.of(quantity)
    spans = [part.span for each in records for part in each.parts if part.span is not None]
    lows = [float(each.buckets.low.min()) for each in records if len(each.buckets.low)]
    highs = [float(each.buckets.high.max()) for each in records if len(each.buckets.high)]
    ends = [*lows, *highs, *(each.low for each in spans), *(each.high for each in spans)] or [0, 1]
    least = _NARROWEST.get(units.sign(quantity), 1.0)
    return widened(convert(min(ends)), convert(max(ends)), least)


def _strip(
    record: Record,
    quantity: Quantity,
    span_ms: tuple[int, int],
    units: Units,
    x: Scale,
    y: Scale,
    levels: tuple[Tick, ...],
) -> Strip:
    start_ms, end_ms = span_ms
    buckets = _within(record.buckets, start_ms, end_ms)
    width_ms = SECOND_MS * buckets.resolution_s
    middle_ms = np.clip(buckets.at_ms + width_ms // 2, start_ms, end_ms)
    step_ms = max(width_ms, round(SECOND_MS * record.probe.period_s))
    runs = [*_runs(middle_ms, step_ms)]
    return Strip(
        probe=record.probe.id,
        name=record.name,
        says=_says(record, buckets, middle_ms, quantity, units),
        bands=tuple(
            Patch(
                x(part.start_ms),
                y(part.span.high),
                round(x(part.end_ms) - x(part.start_ms), 2),
                round(y(part.span.low) - y(part.span.high), 2),
            )
            for part in record.parts
            if part.span is not None
        ),
        hulls=tuple(_hull(buckets, middle_ms, run, x, y) for run in runs),
        strayed=tuple(_strayed(record.parts, buckets, middle_ms, step_ms, span_ms, x, y)),
        lines=tuple(_line(middle_ms[run], buckets.mean[run], x, y) for run in runs),
        levels=levels,
    )


def _within(buckets: Buckets, start_ms: int, end_ms: int) -> Buckets:
    """Those that touch the span."""
    width_ms = SECOND_MS * buckets.resolution_s
    inside = (buckets.at_ms + width_ms > start_ms) & (buckets.at_ms < end_ms)
    return Buckets(
        buckets.resolution_s,
        buckets.at_ms[inside],
        buckets.mean[inside],
        buckets.low[inside],
        buckets.high[inside],
        buckets.count[inside],
    )


def _runs(middle_ms: Ints, step_ms: int) -> Iterator[slice]:
    """Stretches without a gap."""
    if len(middle_ms):
        breaks = np.flatnonzero(np.diff(middle_ms) > _GAP_STEPS * step_ms) + 1
        yield from (slice(*ends) for ends in pairwise((0, *breaks.tolist(), len(middle_ms))))


def _line(at_ms: Ints, value: Floats, x: Scale, y: Scale) -> str:
    return " ".join(
        f"{x(at):g},{y(each):g}" for at, each in zip(at_ms.tolist(), value.tolist(), strict=True)
    )


def _hull(buckets: Buckets, middle_ms: Ints, run: slice, x: Scale, y: Scale) -> str:
    """Along the highest and back along the lowest."""
    there = _line(middle_ms[run], buckets.high[run], x, y)
    return f"{there} {_line(middle_ms[run][::-1], buckets.low[run][::-1], x, y)}"


def _strayed(
    parts: Sequence[Part],
    buckets: Buckets,
    middle_ms: Ints,
    step_ms: int,
    span_ms: tuple[int, int],
    x: Scale,
    y: Scale,
) -> Iterator[Patch]:
    low, high = limits_at(parts, middle_ms)
    for n in np.flatnonzero((buckets.mean < low) | (buckets.mean > high)).tolist():
        mean, at_ms = float(buckets.mean[n]), int(buckets.at_ms[n])
        left, right = x(max(at_ms, span_ms[0])), x(min(at_ms + step_ms, span_ms[1]))
        top, bottom = sorted((y(mean), y(float(low[n] if mean < low[n] else high[n]))))
        yield Patch(left, top, round(right - left, 2), round(bottom - top, 2))


def _says(
    record: Record, buckets: Buckets, middle_ms: Ints, quantity: Quantity, units: Units
) -> str:
    if not len(buckets.mean):
        return words.NO_COURSE
    ends = [units.number(quantity, float(each)) for each in (buckets.low.min(), buckets.high.max())]
    told = words.RANGE.format(*ends, units.sign(quantity))
    low, high = limits_at(record.parts, middle_ms)
    judged = np.isfinite(low)
    if not judged.any() or any(part.day is None for part in record.parts):
        return told
    good = (buckets.mean[judged] >= low[judged]) & (buckets.mean[judged] <= high[judged])
    return words.SHARE.format(told, words.share(float(good.mean())))
