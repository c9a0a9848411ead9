"""One live value beside the range it should have: its words, its shape, its place on a bar."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from monitor.alarms.wording import clock
from monitor.quality import Quality
from monitor.quantities import Quantity, unit_of
from monitor.setup.daylight import Daylight
from monitor.setup.models import Probe, Span, ZoneRange
from monitor.store.readings import Latest
from monitor.web import words
from monitor.web.units import Units

_MARGIN_K = 6.0
"""How far a temperature bar reaches beyond every limit."""


class Shape(StrEnum):
    """The mark on a bar and in the drawing, so that colour never speaks alone."""

    INSIDE = "inside"
    BELOW = "below"
    ABOVE = "above"
    UNSURE = "unsure"
    """Old, doubtful, or without a range."""
    MISSED = "missed"
    """Not as it must be; said of anything but a value."""


class Bar(NamedTuple):
    """Where the range and the value lie, in percent of the bar's length."""

    start: float
    width: float
    at: float


@dataclass(frozen=True, slots=True)
class Measure:
    """One value as it is shown; ``value`` and ``unit`` are text."""

    quantity: Quantity
    name: str
    value: str
    unit: str
    shape: Shape
    says: str
    wanted: str | None
    bar: Bar | None

    @property
    def beyond(self) -> bool:
        """Whether the value is fresh, believed and out of its range."""
        return self.shape in (Shape.BELOW, Shape.ABOVE)


def measure(
    quantity: Quantity,
    reading: Latest,
    wanted: ZoneRange | None,
    probe: Probe,
    daylight: Daylight,
    now_ms: int,
    units: Units,
) -> Measure:
    """A reading judged by the range of the hour it was taken in."""
    sign, convert = units.sign(quantity), units.of(quantity)
    span, critical = _spans(quantity, wanted, is_day=daylight.segment(reading.at_ms).day)
    shape, says = _judged(quantity, reading.value, span, critical)
    if reading.reason.quality is not Quality.GOOD:
        shape, says = Shape.UNSURE, words.IN_DOUBT.format(reading.reason.says)
    if now_ms - reading.at_ms > probe.silence_ms:
        heard = clock(reading.at_ms, daylight.zone, now_ms)
        shape, says = Shape.UNSURE, words.LAST_HEARD.format(heard)
    shown = None if span is None else units.span(quantity, span)
    return Measure(
        quantity=quantity,
        name=words.QUANTITIES[quantity],
        value=written(convert(reading.value), shown, units.digits(quantity)),
        unit=sign,
        shape=shape,
        says=says,
        wanted=None
        if shown is None
        else words.RANGE.format(f"{shown.low:g}", f"{shown.high:g}", sign),
        bar=None if span is None else _bar(unit_of(quantity), reading.value, span, critical),
    )


def written(value: float, span: Span | None, digits: int) -> str:
    """The value with as few digits as show on which side of its limits it lies."""
    for more in range(digits, digits + 3):
        rounded = round(value, more)
        if span is None or _side(rounded, span) is _side(value, span):
            break
    return f"{rounded + 0.0:.{more}f}"  # + 0.0: no minus sign before a zero


def _spans(
    quantity: Quantity, wanted: ZoneRange | None, *, is_day: bool
) -> tuple[Span | None, Span | None]:
    if wanted is None or quantity not in words.BEYOND:
        return None, None
    now = wanted.day if is_day else wanted.night
    return getattr(now, quantity), getattr(wanted.critical, quantity)


def _judged(
    quantity: Quantity, value: float, span: Span | None, critical: Span | None
) -> tuple[Shape, str]:
    if critical is not None and (side := _side(value, critical)) is not Shape.INSIDE:
        return side, words.FAR.format(words.BEYOND[quantity][side is Shape.ABOVE])
    if span is None:
        return Shape.UNSURE, words.NO_RANGE
    side = _side(value, span)
    if side is Shape.INSIDE:
        return side, words.IN_RANGE
    return side, words.BEYOND[quantity][side is Shape.ABOVE]


def _side(value: float, span: Span) -> Shape:
    if value < span.low:
        return Shape.BELOW
    return Shape.ABOVE if value > span.high else Shape.INSIDE


def _bar(unit: str, value: float, span: Span, critical: Span | None) -> Bar:
    if unit == "Cel":
        outer = critical or span
        low = min(span.low, outer.low) - _MARGIN_K
        high = max(span.high, outer.high) + _MARGIN_K
    else:
        low, high = 0.0, 100.0
    start, end, at = (
        round(100 * min(max((x - low) / (high - low), 0.0), 1.0), 2)
        for x in (span.low, span.high, value)
    )
    return Bar(start, round(end - start, 2), at)
