"""How well the alarms do their work: how many call, when, which ones, and what nobody looks at.

The figures are those that alarm management measures a plant by (IEC 62682, ISA-18.2, EEMUA 191);
docs/alarms.md tells what they are held against, and that those texts were not at hand. What counts
is an alarm that called, once, at its raising: one that was kept quiet all its life troubled nobody.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any, Protocol

from monitor.setup.alarming import CHATTERING, CHATTERING_MS, FLOOD_MS, STALE_MS
from monitor.times import DAY_MS, MINUTE_MS, SECOND_MS, rfc3339

FLOOD_ALARMS = 10
"""More than this in 10 min are a flood for whoever has to answer them."""
FLEETING_MS = 10 * MINUTE_MS
"""What was over sooner, and did not chatter, was fleeting (own judgement)."""
TOP = 10


class Occurrence(Protocol):
    """What must be known of an alarm; all times are epoch milliseconds UTC."""

    @property
    def point(self) -> object:
        """What was watched; its text tells points apart."""

    @property
    def priority(self) -> str:
        """How soon a keeper had to act."""

    @property
    def raised_at_ms(self) -> int:
        """When it was raised."""

    @property
    def called_at_ms(self) -> int | None:
        """When it last called; None if it never did."""

    @property
    def returned_at_ms(self) -> int | None:
        """When its condition was over, if it is."""

    @property
    def withdrawn_at_ms(self) -> int | None:
        """When its point was no longer watched, if it is not."""

    @property
    def acknowledged_at_ms(self) -> int | None:
        """When a keeper had seen it, if one has."""


@dataclass(frozen=True, slots=True)
class Share:
    """How many alarms something had, and which part of all that is."""

    name: str
    alarms: int
    share: float


@dataclass(frozen=True, slots=True)
class Performance:
    """The figures of a time; rates are means over all of it, shares lie between 0 and 1."""

    from_ms: int
    until_ms: int
    alarms: int
    per_day: float
    per_10_min: float
    peak_10_min: int
    """The most in one of the 10 min periods, counted from the beginning."""
    peak_at_ms: int | None
    """When that period began."""
    flood_share: float
    """The part of the 10 min periods with more than ``FLOOD_ALARMS``."""
    standing: int
    """How many stood at the end."""
    stale: int
    """How many of them had stood for more than a day."""
    chattering: tuple[str, ...]
    """Points that were raised ``CHATTERING`` times within ``CHATTERING_MS``."""
    fleeting: int
    top: tuple[Share, ...]
    """The ten points with the most alarms."""
    top_share: float
    """The part that these ten had."""
    priorities: tuple[Share, ...]
    """By priority, the most frequent first."""
    unacknowledged: int
    """How many carry no acknowledgement; a shelf and maintenance take it back."""
    median_answer_s: float | None
    """From the raising to the acknowledgement, of those that were."""


def performance(alarms: Iterable[Occurrence], from_ms: int, until_ms: int) -> Performance:
    """The figures of all alarms that were raised from one time until before another.

    Args:
        alarms: those raised in that time, and of earlier ones at least those that may have stood
            at its end. Further ones do no harm, their order does not matter.
        from_ms: epoch milliseconds UTC.
        until_ms: epoch milliseconds UTC; ``standing`` and ``stale`` are as of then.

    Raises:
        ValueError: the time is empty.
    """
    if from_ms >= until_ms:
        raise ValueError(f"no time lies between {rfc3339(from_ms)} and {rfc3339(until_ms)}")
    called = [alarm for alarm in alarms if alarm.called_at_ms is not None]
    standing = [alarm for alarm in called if _stood_at(alarm, until_ms)]
    lately = sorted(
        (alarm for alarm in called if from_ms <= alarm.raised_at_ms < until_ms),
        key=lambda alarm: alarm.raised_at_ms,
    )
    count = len(lately)
    periods = Counter((alarm.raised_at_ms - from_ms) // FLOOD_MS for alarm in lately)
    peak, peak_10_min = max(periods.items(), key=lambda each: (each[1], -each[0]), default=(0, 0))
    chattering = _chattering(lately)
    top = _shares(str(alarm.point) for alarm in lately)[:TOP]
    answers_ms = [
        alarm.acknowledged_at_ms - alarm.raised_at_ms
        for alarm in lately
        if alarm.acknowledged_at_ms is not None
    ]
    return Performance(
        from_ms=from_ms,
        until_ms=until_ms,
        alarms=count,
        per_day=count * DAY_MS / (until_ms - from_ms),
        per_10_min=count * FLOOD_MS / (until_ms - from_ms),
        peak_10_min=peak_10_min,
        peak_at_ms=from_ms + peak * FLOOD_MS if count else None,
        flood_share=sum(alarms > FLOOD_ALARMS for alarms in periods.values())
        / -(-(until_ms - from_ms) // FLOOD_MS),
        standing=len(standing),
        stale=sum(until_ms - alarm.raised_at_ms > STALE_MS for alarm in standing),
        chattering=tuple(sorted(chattering)),
        fleeting=sum(_fleeting(alarm) and str(alarm.point) not in chattering for alarm in lately),
        top=tuple(top),
        top_share=sum(each.share for each in top),
        priorities=tuple(_shares(str(alarm.priority) for alarm in lately)),
        unacknowledged=count - len(answers_ms),
        median_answer_s=median(answers_ms) / SECOND_MS if answers_ms else None,
    )


def wire(figures: Performance) -> dict[str, Any]:
    """The figures as the API gives them: times RFC 3339 in UTC, shares to four digits."""
    return {
        "from": rfc3339(figures.from_ms),
        "until": rfc3339(figures.until_ms),
        "alarms": figures.alarms,
        "per_day": round(figures.per_day, 2),
        "per_10_min": round(figures.per_10_min, 4),
        "peak_10_min": figures.peak_10_min,
        "peak_at": None if figures.peak_at_ms is None else rfc3339(figures.peak_at_ms),
        "flood_share": round(figures.flood_share, 4),
        "standing": figures.standing,
        "stale": figures.stale,
        "chattering": list(figures.chattering),
        "fleeting": figures.fleeting,
        "top": _wire_shares(figures.top),
        "top_share": round(figures.top_share, 4),
        "priorities": _wire_shares(figures.priorities),
        "unacknowledged": figures.unacknowledged,
        "median_answer_s": figures.median_answer_s,
    }


def _wire_shares(shares: Sequence[Share]) -> list[dict[str, str | int | float]]:
    return [
        {"name": each.name, "alarms": each.alarms, "share": round(each.share, 4)} for each in shares
    ]


def _stood_at(alarm: Occurrence, at_ms: int) -> bool:
    ends = (alarm.returned_at_ms, alarm.withdrawn_at_ms)
    return alarm.raised_at_ms < at_ms and all(end is None or end >= at_ms for end in ends)


def _fleeting(alarm: Occurrence) -> bool:
    end_ms = alarm.returned_at_ms
    return end_ms is not None and end_ms - alarm.raised_at_ms < FLEETING_MS


def _chattering(alarms: Sequence[Occurrence]) -> set[str]:
    """Points with as many raisings in as short a time as makes chattering; alarms by time."""
    raised: defaultdict[str, list[int]] = defaultdict(list)
    for alarm in alarms:
        raised[str(alarm.point)].append(alarm.raised_at_ms)
    return {
        point
        for point, times in raised.items()
        if any(
            last - first <= CHATTERING_MS
            for first, last in zip(times, times[CHATTERING - 1 :], strict=False)
        )
    }


def _shares(names: Iterable[str]) -> list[Share]:
    """How often each name comes, the most frequent first, then by name."""
    counts = Counter(names)
    total = counts.total()
    ordered = sorted(counts.items(), key=lambda each: (-each[1], each[0]))
    return [Share(name, count, count / total) for name, count in ordered]
