"""A small world to sound alarms in: one enclosure with two probes, and a store beside it."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import NamedTuple

import numpy as np
import pytest

from monitor.alarms.desk import AlarmDesk, Changes
from monitor.alarms.model import PointKey
from monitor.alarms.records import (
    dump_alarm,
    dump_memory,
    dump_suppression,
    load_alarm,
    load_memory,
    load_suppression,
)
from monitor.alarms.rules import Ranges, Rules, compile_rules
from monitor.alarms.states import Change
from monitor.quality import Reason
from monitor.quantities import MEASURED, Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.models import Enclosure, Probe, Setup, Spans, Zone, ZoneRange
from monitor.store.readings import Readings, SeriesKey

CANOPY_RANGE = ZoneRange(
    day=Spans.model_validate({"temperature": [22, 26], "humidity": [60, 80]}),
    night=Spans.model_validate({"temperature": [20, 24], "humidity": [70, 95]}),
    critical=Spans.model_validate({"temperature": [10, 32], "humidity": [35, 100]}),
)


class Reading(NamedTuple):
    """One reading, of the canopy's humidity unless it says otherwise."""

    at_ms: int
    value: float
    quantity: Quantity = Quantity.HUMIDITY
    probe: str = "canopy"
    reason: Reason = Reason.OK
    place: str = "cork-cube"


class Report(NamedTuple):
    """A switch of an enclosure that was reported."""

    place: str
    name: str
    at_ms: int
    on: bool


@dataclass
class Saved:
    """What a store keeps for the desk, as JSON, and all that was told."""

    memories: dict[str, str] = field(default_factory=dict)
    alarms: dict[str, str] = field(default_factory=dict)
    closed: dict[str, str] = field(default_factory=dict)
    suppressions: dict[str, str] = field(default_factory=dict)
    last_used: dict[SeriesKey, int] = field(default_factory=dict)
    events: list[Change] = field(default_factory=list)

    def save(self, changes: Changes, readings: Iterable[Reading] = ()) -> None:
        """One transaction."""
        for point, memory in changes.points:
            if memory is None:
                del self.memories[str(point)]
            else:
                self.memories[str(point)] = dump_memory(memory)
        for alarm in changes.alarms:
            if alarm.over:
                self.alarms.pop(alarm.id, None)
                self.closed[alarm.id] = dump_alarm(alarm)
            else:
                self.alarms[alarm.id] = dump_alarm(alarm)
        for key, suppression in changes.suppressions:
            if suppression is None:
                del self.suppressions[key]
            else:
                self.suppressions[key] = dump_suppression(suppression)
        for reading in readings:
            if reading.reason is Reason.OK:
                series = SeriesKey(reading.place, reading.probe, reading.quantity)
                before_ms = self.last_used.get(series, reading.at_ms)
                self.last_used[series] = max(reading.at_ms, before_ms)
        self.events += changes.events

    def keep(self, desk: AlarmDesk, changes: Changes) -> list[tuple[str, str]]:
        """Save changes and commit them; what happened in short: what, at which point."""
        self.save(changes)
        desk.commit(changes)
        return [(change.event.value, str(change.alarm.point)) for change in changes.events]

    def told(self) -> list[tuple[str, str, int]]:
        """Events in short: what, at which point, when."""
        return [
            (change.event.value, str(change.alarm.point), change.at_ms) for change in self.events
        ]


class World:
    """``cork-cube``: a canopy and a floor probe, one reading a minute, lights 08:00-20:00 UTC.

    Further enclosures are like it.
    """

    def __init__(
        self,
        settings: AlarmSettings | None = None,
        canopy: ZoneRange | None = CANOPY_RANGE,
        probes: Sequence[str] = ("canopy", "floor"),
        places: Sequence[str] = ("cork-cube",),
    ) -> None:
        self.setup = Setup(
            enclosure=tuple(
                Enclosure(
                    id=place,
                    name=place.replace("-", " ").capitalize(),
                    lights_on=dt.time(8),
                    lights_off=dt.time(20),
                    probe=tuple(Probe(id=probe, zone=Zone(probe)) for probe in probes),
                )
                for place in places
            )
        )
        ranges: Ranges = {(place, Zone.CANOPY): canopy for place in places if canopy is not None}
        self.rules: Rules = compile_rules(self.setup, ranges, settings or AlarmSettings())
        self.series = {
            SeriesKey(*key): 3 + 2 * n for n, key in enumerate(product(places, probes, MEASURED))
        }

    def desk(
        self,
        saved: Saved | None = None,
        now_ms: int | None = None,
        beside: AlarmDesk | None = None,
    ) -> AlarmDesk:
        """A desk that goes on from what was saved; by default at the time of its last reading.

        ``beside`` another, it heard the same.
        """
        hearing = None if beside is None else beside._watch.hearing
        saved = saved or Saved()
        if now_ms is None:
            now_ms = max(saved.last_used.values(), default=0)
        desk, changes = AlarmDesk.load(
            self.rules,
            memories={
                PointKey.parse(point): load_memory(text) for point, text in saved.memories.items()
            },
            alarms=[load_alarm(text) for text in saved.alarms.values()],
            closed=[load_alarm(text) for text in saved.closed.values()],
            suppressions=[load_suppression(text) for text in saved.suppressions.values()],
            last_used=saved.last_used,
            series=self.series,
            now_ms=now_ms,
            heard=None if hearing is None else hearing.last_heard(),
            deaf_since_ms=None if hearing is None else hearing.deaf_since_ms,
        )
        saved.save(changes)
        return desk

    def readings(self, batch: Iterable[Reading]) -> Readings:
        """A batch as the columns that the desk takes."""
        rows = list(batch)
        keys = [SeriesKey(row.place, row.probe, row.quantity) for row in rows]
        return Readings(
            np.array([self.series.get(key, 10_000) for key in keys], dtype=np.int64),
            np.array([row.at_ms for row in rows], dtype=np.int64),
            np.array([row.value for row in rows], dtype=np.float64),
            np.array([row.reason for row in rows], dtype=np.uint8),
        )

    def feed(
        self,
        desk: AlarmDesk,
        saved: Saved,
        stream: Sequence[Reading | Report],
        cuts: Sequence[int] = (),
        now_ms: int = 0,
    ) -> None:
        """Step a stream through a desk, cut into batches at the given indexes, saving each step.

        All of it arrives at one time of the daemon's clock: here only its own time counts.
        """
        for start, end in pairwise(sorted({0, *cuts, len(stream)})):
            batch = [each for each in stream[start:end] if isinstance(each, Reading)]
            reports = [each for each in stream[start:end] if isinstance(each, Report)]
            changes = desk.step(self.readings(batch), now_ms, reports)
            saved.save(changes, batch)
            desk.commit(changes)


@pytest.fixture(scope="session")
def world() -> type[World]:
    """Makes worlds."""
    return World


@pytest.fixture(scope="session")
def reading() -> type[Reading]:
    """Makes readings."""
    return Reading


@pytest.fixture(scope="session")
def store() -> type[Saved]:
    """Makes empty stores."""
    return Saved
