"""What a quantity should be over a span of time: by day and by night, through the seasons."""

import datetime as dt
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from monitor.quantities import Quantity
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Span, Zone, ZoneRange
from monitor.setup.ranges import ranges_in_force
from monitor.species.library import Library
from monitor.species.ranges import RANGED
from monitor.store.readings import Floats, Ints


class Part(NamedTuple):
    """A stretch of time with one range; ``day`` is None where it holds days and nights."""

    start_ms: int
    end_ms: int
    day: bool | None
    span: Span | None


def lamp_of(enclosure: Enclosure) -> Daylight:
    """The enclosure's day and night."""
    return Daylight(enclosure.lights_on, enclosure.lights_off, enclosure.zone_info)


def parts(
    enclosure: Enclosure,
    library: Library,
    zone: Zone,
    quantity: Quantity,
    start_ms: int,
    end_ms: int,
    *,
    by_night: bool,
) -> list[Part]:
    """The span in stretches of one range each, in order and without gaps.

    With ``by_night`` every day and night has its own; else each month the outer limits of both.
    """
    if not by_night:
        return [*_by_month(enclosure, library, zone, quantity, start_ms, end_ms)]
    found = []
    for since, until, day in nights_and_days(enclosure, start_ms, end_ms):
        wanted = _range(enclosure, library, zone, since)
        found.append(Part(since, until, day, _span(wanted, quantity, day=day)))
    return found


def nights_and_days(
    enclosure: Enclosure, start_ms: int, end_ms: int
) -> Iterator[tuple[int, int, bool]]:
    """Start, end and light of each day and night, cut to the span."""
    edges, days = lamp_of(enclosure).segments(start_ms, end_ms)
    for since, until, day in zip(
        edges[:-1].tolist(), edges[1:].tolist(), days.tolist(), strict=True
    ):
        if max(since, start_ms) < min(until, end_ms):
            yield max(since, start_ms), min(until, end_ms), day


def limits_at(stretches: Sequence[Part], at_ms: Ints) -> tuple[Floats, Floats]:
    """The lower and the upper limit that hold at each time; infinitely far where there is none."""
    place = np.searchsorted([each.end_ms for each in stretches[:-1]], at_ms, side="right")
    low = [-np.inf if each.span is None else each.span.low for each in stretches]
    high = [np.inf if each.span is None else each.span.high for each in stretches]
    return np.array(low)[place], np.array(high)[place]


def _by_month(
    enclosure: Enclosure,
    library: Library,
    zone: Zone,
    quantity: Quantity,
    start_ms: int,
    end_ms: int,
) -> Iterator[Part]:
    """Ranges change with the month at most; of day and night the outer limits."""
    since = start_ms
    while since < end_ms:
        here = dt.datetime.fromtimestamp(since / 1000, enclosure.zone_info)
        following = (here.replace(day=1) + dt.timedelta(days=32)).replace(
            day=1, hour=0, minute=0, second=0, microsecond=0
        )
        until = min(round(following.timestamp() * 1000), end_ms)
        wanted = _range(enclosure, library, zone, since)
        spans = [_span(wanted, quantity, day=day) for day in (True, False)]
        known = [span for span in spans if span is not None]
        hull = (
            Span(low=min(each.low for each in known), high=max(each.high for each in known))
            if known
            else None
        )
        yield Part(since, until, None, hull)
        since = until


def _range(enclosure: Enclosure, library: Library, zone: Zone, at_ms: int) -> ZoneRange | None:
    date = dt.datetime.fromtimestamp(at_ms / 1000, enclosure.zone_info).date()
    return ranges_in_force(enclosure, library, date).get(zone)


def _span(wanted: ZoneRange | None, quantity: Quantity, *, day: bool) -> Span | None:
    if wanted is None or quantity not in RANGED:
        return None
    span: Span | None = getattr(wanted.day if day else wanted.night, quantity)
    return span
