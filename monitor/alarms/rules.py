"""What is watched: the limits of every series and the silence of every probe, made from the set-up.

Rules are plain values. The same set-up, ranges and settings always give the same rules.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.alarms.model import BROKER, Because, Condition, PointKey, Priority, relapse_of
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.daylight import Daylight
from monitor.setup.models import Probe, Setup, Span, Spans, Zone, ZoneRange
from monitor.store.readings import SeriesKey
from monitor.times import SECOND_MS

Ranges = Mapping[tuple[str, Zone], ZoneRange]
"""What each zone of each place should hold."""

ALWAYS_DAY = Daylight(dt.time(0), dt.time(0), ZoneInfo("UTC"))
"""A room has no lamp timer: its range is that of the day."""

NEVER = float("inf")


class ByLight(NamedTuple):
    """A value that differs by night and by day; ``values[is_day]`` picks."""

    night: float
    day: float


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of one series and how it becomes an alarm.

    A value is beyond when it is strictly above ``level`` (``upper``) or strictly below it; it is
    clear when it has come back to ``clear`` or further. Where no span is set, by night or by day,
    the level is infinite: no value is beyond, every value is clear.
    """

    point: PointKey
    zone: Zone
    priority: Priority
    upper: bool
    level: ByLight
    clear: ByLight
    on_delay_ms: int
    off_delay_ms: int
    gap_ms: int
    """A longer pause between readings hides what the value did: longer than the probe may be
    silent and than the on-delay."""


class WatchedProbe(NamedTuple):
    """A probe whose silence raises an alarm."""

    place: str
    probe: str
    zone: Zone
    silence_ms: int
    daylight: Daylight

    @property
    def point(self) -> PointKey:
        """The point that stands for its silence."""
        return PointKey(self.place, self.probe, None, Condition.SILENT)


class Policy(NamedTuple):
    """What holds for all alarms alike."""

    broker_on_delay_ms: int
    longest_quiet_ms: int
    lid_settle_ms: int
    misting_settle_ms: int
    flood_alarms: int

    def settle_ms(self, because: Because) -> int:
        """How long the climate may take to settle after what a switch or a keeper reports."""
        return self.misting_settle_ms if because is Because.MISTING else self.lid_settle_ms


@dataclass(frozen=True, slots=True)
class Rules:
    """All that is watched: every probe of the set-up, and the limits of those series that have any.

    The limits of a series stand graver first. ``enclosures`` are watched for a relapse once they
    have settled.
    """

    probes: tuple[WatchedProbe, ...]
    limits: Mapping[SeriesKey, tuple[Limit, ...]]
    policy: Policy
    enclosures: tuple[str, ...] = ()

    def points(self) -> set[PointKey]:
        """Every point that is watched."""
        limits = {limit.point for limits in self.limits.values() for limit in limits}
        relapses = {relapse_of(enclosure) for enclosure in self.enclosures}
        return limits | {probe.point for probe in self.probes} | relapses | {BROKER}

    def watches(self, place: str, probe: str | None) -> bool:
        """Whether a place has any probe, or the given one."""
        return any(
            each.place == place and (probe is None or each.probe == probe) for each in self.probes
        )


def compile_rules(setup: Setup, ranges: Ranges, settings: AlarmSettings) -> Rules:
    """The rules that follow from a set-up, the ranges of its zones and the alarm settings.

    A probe whose zone has no range is watched for silence alone. A room's range is looked up
    under its id and ``Zone.ROOM``.
    """
    probes: list[WatchedProbe] = []
    limits: dict[SeriesKey, tuple[Limit, ...]] = {}
    for place, daylight, probe in _placed_probes(setup):
        probes.append(WatchedProbe(place, probe.id, probe.zone, probe.silence_ms, daylight))
        wanted = ranges.get((place, probe.zone))
        if wanted is None:
            continue
        for name in Spans.model_fields:
            series = SeriesKey(place, probe.id, Quantity(name))
            found = tuple(_limits(series, probe, wanted, settings))
            if found:
                limits[series] = found
    enclosures = tuple(enclosure.id for enclosure in setup.enclosure)
    return Rules(tuple(probes), limits, _policy(settings), enclosures)


def _policy(settings: AlarmSettings) -> Policy:
    return Policy(
        broker_on_delay_ms=round(settings.broker_on_delay_s * SECOND_MS),
        longest_quiet_ms=round(settings.longest_quiet_s * SECOND_MS),
        lid_settle_ms=round(settings.lid_settle_s * SECOND_MS),
        misting_settle_ms=round(settings.misting_settle_s * SECOND_MS),
        flood_alarms=settings.flood_alarms,
    )


def _placed_probes(setup: Setup) -> Iterator[tuple[str, Daylight, Probe]]:
    for room in setup.room:
        for room_probe in room.probe:
            yield room.id, ALWAYS_DAY, room_probe
    for enclosure in setup.enclosure:
        daylight = Daylight(enclosure.lights_on, enclosure.lights_off, enclosure.zone_info)
        for probe in enclosure.probe:
            yield enclosure.id, daylight, probe


def _limits(
    series: SeriesKey, probe: Probe, wanted: ZoneRange, settings: AlarmSettings
) -> Iterator[Limit]:
    critical, night, day = (
        getattr(spans, series.quantity.value)
        for spans in (wanted.critical, wanted.night, wanted.day)
    )
    for priority, by_night, by_day, on_delay_s, conditions in (
        (
            Priority.CRITICAL,
            critical,
            critical,
            settings.critical_on_delay_s,
            (Condition.CRITICAL_LOW, Condition.CRITICAL_HIGH),
        ),
        (
            Priority.WARNING,
            night,
            day,
            settings.on_delay_s,
            (Condition.LOW, Condition.HIGH),
        ),
    ):
        if by_night is None and by_day is None:
            continue
        on_delay_ms = round(on_delay_s * SECOND_MS)
        for condition, upper in zip(conditions, (False, True), strict=True):
            deadband = settings.deadband(series.quantity)
            at_night, at_day = (_bounds(span, deadband, upper) for span in (by_night, by_day))
            yield Limit(
                point=PointKey(*series, condition),
                zone=probe.zone,
                priority=priority,
                upper=upper,
                level=ByLight(at_night[0], at_day[0]),
                clear=ByLight(at_night[1], at_day[1]),
                on_delay_ms=on_delay_ms,
                off_delay_ms=round(settings.off_delay_s * SECOND_MS),
                gap_ms=max(probe.silence_ms, on_delay_ms),
            )


def _bounds(span: Span | None, deadband: float, upper: bool) -> tuple[float, float]:
    """Level and clear level of one end of a span.

    The deadband is at most half the span: a value in the middle is clear of both ends, so clearing
    one alarm never means standing in the other.
    """
    if span is None:
        return (NEVER, NEVER) if upper else (-NEVER, -NEVER)
    deadband = min(deadband, (span.high - span.low) / 2)
    return (span.high, span.high - deadband) if upper else (span.low, span.low + deadband)
