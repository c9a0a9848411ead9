"""The watch over all series at once: one test for the quiet many, a closer look at the few.

All that is known per series stands in arrays, one row per series. A reading is quiet when it lies
within all limits that hold at its time and no point of its series remembers anything. Quiet
readings change nothing but the time last used, in whatever order they come; only the series with a
reading that is not quiet are led through their points one by one.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from monitor.alarms.detection import Columns, Phase, PointMemory, Signal, walk
from monitor.alarms.hearing import Hearing, ProbeKey, Silence
from monitor.alarms.model import BROKER, PointKey
from monitor.alarms.rules import NEVER, Limit, Rules, WatchedProbe
from monitor.quality import Reason
from monitor.quantities import MEASURED
from monitor.setup.daylight import Bools, Daylights
from monitor.store.readings import Floats, Ints, Readings, SeriesKey

_UNUSED_MS = np.iinfo(np.int64).min


class Used(NamedTuple):
    """Rows and times of the readings that took part in a step."""

    row: Ints
    at_ms: Ints


@dataclass(slots=True)
class Findings:
    """What a batch of readings, or the clock, shows; nothing of it is remembered yet.

    ``signals`` stand in order of time, then of the readings in the batch, then of rank.
    ``memories`` holds the points whose memory changes, None where it ends. ``cut_off_ms`` is since
    when there has been no connection to the broker, if that is to be told.
    """

    signals: list[Signal] = field(default_factory=list)
    memories: dict[PointKey, PointMemory | None] = field(default_factory=dict)
    silent: list[Silence] = field(default_factory=list)
    heard_again: list[WatchedProbe] = field(default_factory=list)
    cut_off_ms: int | None = None
    reconnected: bool = False
    used: Used | None = None


class Watch:
    """Follows readings against rules; ``look`` and ``listen`` find, ``remember`` takes it in.

    A finding that is never remembered leaves no trace, but for the time at which a probe was last
    heard: that its message came in stays true even if it could not be saved.

    Args:
        rules: what is watched.
        memories: of the points that are not normal.
        last_used: the time of the newest reading of each series that took part in a step.
        heard: when probes were last heard, on the daemon's clock.
        now_ms: counts as the time heard of every other probe.
        deaf_since_ms: since when there is no connection to the broker, None if there is.
    """

    def __init__(
        self,
        rules: Rules,
        memories: Mapping[PointKey, PointMemory],
        last_used: Mapping[SeriesKey, int],
        heard: Mapping[ProbeKey, int],
        now_ms: int,
        deaf_since_ms: int | None = None,
    ) -> None:
        self.hearing = Hearing(rules.probes, heard, now_ms, deaf_since_ms)
        self._broker_on_delay_ms = rules.policy.broker_on_delay_ms

        # A row for every quantity a probe could send: all of them tell that it is alive.
        keys = [
            SeriesKey(probe.place, probe.probe, quantity)
            for probe in rules.probes
            for quantity in MEASURED
        ]
        self._row = {key: row for row, key in enumerate(keys)}
        self._probe = np.repeat(np.arange(len(rules.probes)), len(MEASURED))
        self._limits = [rules.limits.get(key, ()) for key in keys]
        self._lowest = _tightest(self._limits, upper=False)
        self._highest = _tightest(self._limits, upper=True)
        self._last_ms = np.array([last_used.get(key, _UNUSED_MS) for key in keys], dtype=np.int64)
        self._busy = np.zeros(len(keys), dtype=np.bool_)

        daylights = list(dict.fromkeys(probe.daylight for probe in rules.probes))
        which = {daylight: n for n, daylight in enumerate(daylights)}
        self._daylights = Daylights(daylights)
        self._daylight = np.array(
            [which[rules.probes[n].daylight] for n in self._probe], dtype=np.int64
        )

        self._series: dict[SeriesKey, int] = {}
        self._row_of = np.full(1, -1)  # by series id; the last element stands for all greater ones

        self._memories: dict[PointKey, PointMemory] = {}
        self.remember(Findings(memories=dict(memories)))

    @property
    def memories(self) -> Mapping[PointKey, PointMemory]:
        """Of all points that are not normal."""
        return self._memories

    @property
    def series(self) -> Mapping[SeriesKey, int]:
        """The series that have been bound."""
        return self._series

    def last_used(self) -> dict[SeriesKey, int]:
        """The time of the newest reading that took part, by series."""
        return {
            key: at_ms
            for key, at_ms in zip(self._row, self._last_ms.tolist(), strict=True)
            if at_ms != _UNUSED_MS
        }

    def bind(self, series: Mapping[SeriesKey, int]) -> None:
        """Learn ids of series (not negative, the fewer gaps the better); others are left alone."""
        rows = {series_id: self._row[key] for key, series_id in series.items() if key in self._row}
        self._series |= series
        size = max(rows, default=-1) + 2
        if size > len(self._row_of):
            grown = np.full(max(size, 2 * len(self._row_of)), -1)
            grown[: len(self._row_of)] = self._row_of
            self._row_of = grown
        self._row_of[list(rows)] = list(rows.values())

    def look(self, readings: Readings, now_ms: int) -> Findings:
        """What readings show that arrived at ``now_ms``; series that are not bound are passed by.

        A reading takes part if it is good and newer than the last of its series that did. Within
        the batch a series is taken in order of time; of readings at one time the first counts.
        """
        findings = Findings()
        row = self._row_of[np.minimum(readings.series, len(self._row_of) - 1)]
        findings.heard_again = self.hearing.hear(self._probe[row[row >= 0]], now_ms)
        for probe in findings.heard_again:
            findings.memories[probe.point] = None

        good = np.flatnonzero((row >= 0) & (readings.reason == Reason.OK))
        row, at_ms, value = row[good], readings.at_ms[good], readings.value[good]
        day = self._daylights.is_day(self._daylight[row], at_ms)
        cell = row + len(self._limits) * day
        beyond = (value < self._lowest[cell]) | (value > self._highest[cell])
        findings.used = Used(row, at_ms)
        closer = beyond | self._busy[row]
        if closer.any():
            concerned = np.zeros(len(self._limits), dtype=np.bool_)
            concerned[row[closer]] = True
            pick = np.flatnonzero(concerned[row])
            self._look_closer(pick, row, at_ms, value, day, beyond, findings)
        return findings

    def listen(self, now_ms: int, *, connected: bool) -> Findings:
        """What cannot be heard: each probe silent for too long, or the broker, is told once."""
        findings = Findings()
        cut_off = BROKER in self._memories
        if not connected:
            since_ms = self.hearing.go_deaf(now_ms)
            if not cut_off and now_ms - since_ms >= self._broker_on_delay_ms:
                findings.cut_off_ms = since_ms
                findings.memories[BROKER] = PointMemory(Phase.STANDING, now_ms)
            return findings
        self.hearing.hear_again(now_ms, afresh=cut_off)
        if cut_off:
            findings.reconnected = True
            findings.memories[BROKER] = None
        findings.silent = self.hearing.overdue(now_ms)
        for silence in findings.silent:
            findings.memories[silence.probe.point] = PointMemory(Phase.STANDING, now_ms)
        return findings

    def remember(self, findings: Findings) -> None:
        """Take findings into memory. They must come from the memory as it is now."""
        for point, memory in findings.memories.items():
            if memory is None:
                self._memories.pop(point, None)
            else:
                self._memories[point] = memory
            place, probe, quantity, _ = point
            if probe is None:
                continue
            if quantity is None:
                self.hearing.mark((place, probe), silent=memory is not None)
            else:
                row = self._row[SeriesKey(place, probe, quantity)]
                self._busy[row] = any(limit.point in self._memories for limit in self._limits[row])
        if findings.used is not None:
            np.maximum.at(self._last_ms, *findings.used)

    def _look_closer(
        self,
        pick: Ints,
        row: Ints,
        at_ms: Ints,
        value: Floats,
        day: Bools,
        beyond: Bools,
        findings: Findings,
    ) -> None:
        pick = pick[np.lexsort((at_ms[pick], row[pick]))]
        fresh = at_ms[pick] > self._last_ms[row[pick]]
        fresh[1:] &= (np.diff(row[pick]) != 0) | (np.diff(at_ms[pick]) != 0)
        pick = pick[fresh]
        columns = Columns(
            at_ms[pick].tolist(),
            value[pick].tolist(),
            day[pick].tolist(),
            np.flatnonzero(beyond[pick]).tolist(),
        )
        rows = row[pick]
        places = pick.tolist()
        edges = [*np.flatnonzero(np.diff(rows, prepend=-1)).tolist(), len(rows)]
        found: list[tuple[int, int, int, Signal]] = []
        for start, end in pairwise(edges):
            one = int(rows[start])
            limits = self._limits[one]
            before = [self._memories.get(limit.point) for limit in limits]
            after = before.copy()
            signals = walk(limits, after, columns, start, end, int(self._last_ms[one]))
            for n, limit in enumerate(limits):
                if after[n] != before[n]:
                    findings.memories[limit.point] = after[n]
            for index, signal in signals:
                found.append((signal.at_ms, places[index], signal.rank, signal))
        found.sort(key=lambda entry: entry[:3])
        findings.signals += [signal for *_, signal in found]


def _tightest(limits: list[tuple[Limit, ...]], *, upper: bool) -> Floats:
    """By night for all rows, then by day: the first level a value meets, infinite if none."""
    tightest = min if upper else max
    none = NEVER if upper else -NEVER
    return np.array(
        [
            tightest((limit.level[day] for limit in row if limit.upper is upper), default=none)
            for day in (False, True)
            for row in limits
        ],
        dtype=np.float64,
    )
