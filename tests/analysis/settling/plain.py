"""Plain builds whose every number is written down: a daily swing, some scatter, perhaps a drift."""

import datetime as dt
from collections.abc import Iterable
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from monitor.analysis.settling import Build, ProbeRecord, Samples
from monitor.analysis.settling.build import Floats
from monitor.setup.daylight import Daylight
from monitor.setup.journal import ENTRY, Entry
from monitor.species.ranges import Span, Spans, Zone, ZoneRange
from monitor.times import DAY_MS

UTC = ZoneInfo("UTC")
BUILT_ON = dt.date(2026, 1, 1)
WIDE = Spans(temperature=Span(low=15, high=32), humidity=Span(low=40, high=98))
RANGES = {zone: ZoneRange(day=WIDE, night=WIDE) for zone in (Zone.CANOPY, Zone.FLOOR)}


def at_ms(day: float, clock: ZoneInfo = UTC, built_on: dt.date = BUILT_ON) -> int:
    """So many days of 24 hours after the local midnight the build began with."""
    midnight = dt.datetime.combine(built_on, dt.time(), clock)
    return round(midnight.timestamp() * 1000 + day * DAY_MS)


def probe(
    days: float,
    *,
    zone: Zone = Zone.CANOPY,
    first_day: float = 0.0,
    id_: str = "one",
    scatter: float = 0.5,
    humidity_drift: float = 0.0,
    humidity_offset: float = 0.0,
    temperature_drift: float = 0.0,
    period_s: float = 300.0,
    clock: ZoneInfo = UTC,
    seed: int = 1,
) -> ProbeRecord:
    """A probe from one day to another: 24 Cel and 70 %RH, highest at 15:00 and 03:00.

    ``scatter`` is the standard deviation of daily means, %RH; a fifth of it, K.
    """
    step = period_s / 86_400
    day = np.arange(first_day, days, step) + 0.5 * step
    luck = np.random.default_rng(seed).standard_normal((2, int(days) + 2))
    hour = 24.0 * (day % 1.0)
    temperature = (
        24.0
        + 2.5 * np.cos(2 * np.pi * (hour - 15.0) / 24.0)
        + temperature_drift * day
        + 0.2 * scatter * luck[0][day.astype(int)]
    )
    humidity = (
        70.0
        + humidity_offset
        + 8.0 * np.cos(2 * np.pi * (hour - 3.0) / 24.0)
        + humidity_drift * day
        + scatter * luck[1][day.astype(int)]
    )
    times = at_ms(0.0, clock) + np.rint(day * DAY_MS).astype(np.int64)
    return record(times, temperature, np.clip(humidity, 0.0, 100.0), zone, id_, period_s)


def record(
    times: Any,
    temperature: Floats,
    humidity: Floats,
    zone: Zone = Zone.CANOPY,
    id_: str = "one",
    period_s: float = 300.0,
) -> ProbeRecord:
    """A probe's record from columns."""
    return ProbeRecord(id_, zone, period_s, Samples(times, temperature), Samples(times, humidity))


def without(probe: ProbeRecord, first_ms: int, last_ms: int) -> ProbeRecord:
    """The record without what was told from one time to another."""
    times = probe.temperature.at_ms
    kept = (times < first_ms) | (times >= last_ms)
    return record(
        times[kept],
        probe.temperature.value[kept],
        probe.humidity.value[kept],
        probe.zone,
        probe.id,
        probe.period_s,
    )


def look(day: float, cover: int | None = 0, **found: Any) -> Entry:
    """An inspection, at which all is well unless told otherwise."""
    told = {"springtails_seen": True, "isopods_seen": True, "plants": "rooted"} | found
    told = {key: value for key, value in told.items() if value is not None}
    if cover is not None:
        told["mould_cover"] = cover
    return ENTRY.validate_python({"at": at_ms(day + 0.8), "kind": "inspection", **told})


def bloom(days: int, every: int = 3) -> list[Entry]:
    """Looks every few days at a build that blooms in its second week and is clean from day 21."""
    return [look(day, cover_on(day)) for day in range(1, days, every)]


def cover_on(day: int) -> int:
    """The mould cover of that build."""
    return next((cover for last, cover in ((4, 0), (8, 1), (14, 3), (20, 1)) if day <= last), 0)


def build(
    day: float,
    probes: Iterable[ProbeRecord] | None = None,
    journal: Iterable[Entry] | None = None,
    **changes: Any,
) -> Build:
    """A build as it stands on a day; what is not given is as in one that settles."""
    clock = changes.pop("clock", UTC)
    facts: dict[str, Any] = {
        "built_on": BUILT_ON,
        "ranges": RANGES,
        "is_day": Daylight(dt.time(8), dt.time(20), clock).is_day,
    }
    return Build(
        at_ms=at_ms(day, clock),
        clock=clock,
        probes=(probe(day, clock=clock),) if probes is None else tuple(probes),
        journal=bloom(int(day) + 1) if journal is None else list(journal),
        **(facts | changes),
    )
