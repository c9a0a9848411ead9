"""Looks inside as a picture: how much mould there was, and whether the crew was seen."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.setup.journal import Inspection
from monitor.times import DAY_MS, day_in_words
from monitor.web import words
from monitor.web.charts.scale import Scale, linear

MOST_COVER = 5
WIDEST = 100.0


class Bar(NamedTuple):
    """The mould of one look: where it stands and how wide it may be, in percent; its height."""

    x: float
    width: float
    height: float
    says: str


class Seen(NamedTuple):
    """Whether some of the crew was seen at a look."""

    x: float
    seen: bool


@dataclass(frozen=True, slots=True)
class Looks:
    """All looks of a span; ``says`` tells how the mould went."""

    bars: tuple[Bar, ...]
    springtails: tuple[Seen, ...]
    isopods: tuple[Seen, ...]
    says: str


def looks(
    entries: Sequence[Inspection], zone: ZoneInfo, start_ms: int, end_ms: int
) -> Looks | None:
    """Inspections, oldest first; None without any."""
    if not entries:
        return None
    x = linear(start_ms, end_ms, 0, WIDEST)
    width = round(0.8 * WIDEST * DAY_MS / (end_ms - start_ms), 2)
    mould = [each for each in entries if each.mould_cover is not None]
    return Looks(
        bars=tuple(
            Bar(
                max(x(each.at_ms) - width, 0.0),
                width,
                round(100 * (each.mould_cover or 0) / MOST_COVER, 1),
                f"{_day(each, zone)}: {words.MOULD[each.mould_cover or 0]}",
            )
            for each in mould
        ),
        springtails=_seen(x, [(each.at_ms, each.springtails_seen) for each in entries]),
        isopods=_seen(x, [(each.at_ms, each.isopods_seen) for each in entries]),
        says=_says(mould, zone),
    )


def _seen(x: Scale, looked: Sequence[tuple[int, bool | None]]) -> tuple[Seen, ...]:
    return tuple(Seen(x(at_ms), seen) for at_ms, seen in looked if seen is not None)


def _says(mould: Sequence[Inspection], zone: ZoneInfo) -> str:
    if not mould:
        return words.NO_MOULD_LOOKS
    worst = max(mould, key=lambda each: each.mould_cover or 0)
    if not worst.mould_cover:
        return words.NEVER_MOULD.format(len(mould))
    last = mould[-1]
    return words.MOULD_WENT.format(
        words.MOULD[worst.mould_cover],
        _day(worst, zone),
        words.MOULD[last.mould_cover or 0],
        _day(last, zone),
    )


def _day(each: Inspection, zone: ZoneInfo) -> str:
    return day_in_words(dt.datetime.fromtimestamp(each.at_ms / 1000, zone).date())
