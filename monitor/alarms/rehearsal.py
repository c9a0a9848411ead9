"""A set-up's rules run over stored readings: which alarms they would have raised.

The alarm desk is the daemon's own. Readings are stepped in long stretches instead of as they came
in, which gives the same events; the clock stands at each reading's own time, for nobody remembers
when it arrived. Silence is therefore told to the millisecond, and all of the time for which nothing
was stored counts as silence, the daemon's own absence too.
"""

import datetime as dt
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from monitor.alarms.desk import AlarmDesk, Changes
from monitor.alarms.groups import ALONE_AFTER_MS
from monitor.alarms.hearing import ProbeKey
from monitor.alarms.model import Alarm
from monitor.alarms.rules import Rules, compile_rules
from monitor.quantities import MEASURED
from monitor.setup.alarming import AlarmSettings
from monitor.setup.daylight import reached_ms
from monitor.setup.models import Enclosure, Setup, ZoneRange
from monitor.setup.ranges import ranges_of
from monitor.species.library import Library
from monitor.species.ranges import Zone
from monitor.store.readings import Ints, Readings, SeriesKey, Track
from monitor.times import DAY_MS

Switch = tuple[str, str, int, bool]
"""What was reported on or off: place, name, epoch ms UTC, on."""

LEAD_IN_MS = DAY_MS
"""What stood when a span began is known by starting so much earlier."""

_NOT_YET = np.iinfo(np.int64).max // 2
"""When a probe that never was heard yet counts as heard: it cannot fall silent."""

_NOTHING = Readings(
    np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0, np.uint8)
)


class Regime(NamedTuple):
    """Rules, and from when on they hold (epoch ms): ranges may change with the month."""

    from_ms: int
    rules: Rules


class Part(NamedTuple):
    """Stored readings from where the part before ended up to, not at, ``end_ms``."""

    end_ms: int
    tracks: Mapping[SeriesKey, Track]


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """The alarms in order of their raising, as they were in the end, and what was heard.

    ``readings`` counts those from the start on, ``first_ms`` is the first of them (None: there was
    none); ``heard`` are the probes that gave any.
    """

    raised: tuple[Alarm, ...]
    readings: int
    first_ms: int | None
    heard: frozenset[str]


def regimes(
    enclosure: Enclosure, library: Library, settings: AlarmSettings, start_ms: int, end_ms: int
) -> list[Regime]:
    """The rules of one enclosure over a span, a new regime at each midnight that changes them.

    Raises:
        NotFound: the library has no such species.
    """
    alone = Setup(enclosure=(enclosure.model_copy(update={"room": None}),))
    clock = enclosure.zone_info
    date = dt.datetime.fromtimestamp(start_ms / 1000, clock).date()
    found: list[Regime] = []
    before: dict[Zone, ZoneRange] | None = None
    at_ms = start_ms
    while not found or at_ms < end_ms:
        ranges = ranges_of(enclosure, library, date)
        if ranges != before:
            placed = {(enclosure.id, zone): span for zone, span in ranges.items()}
            found.append(Regime(at_ms, compile_rules(alone, placed, settings)))
            before = ranges
        date += dt.timedelta(days=1)
        at_ms = reached_ms(dt.datetime.combine(date, dt.time()), clock)
    return found


def rehearse(
    rules: Sequence[Regime],
    parts: Iterable[Part],
    start_ms: int,
    switches: Iterable[Switch] = (),
) -> Rehearsal:
    """Run rules over stored readings; alarms raised before ``start_ms`` are left out.

    ``parts`` follow on each other, from the first regime's beginning on: best a day or more before
    ``start_ms`` (``LEAD_IN_MS``). A probe's silence counts from its first reading.
    """
    run = _Run(rules, switches)
    readings = 0
    first_ms: int | None = None
    heard: set[str] = set()
    for part in parts:
        run.take(part)
        for key, track in part.tracks.items():
            at_ms = track.at_ms[np.searchsorted(track.at_ms, start_ms) :]
            if len(at_ms):
                readings += len(at_ms)
                first_ms = min(first_ms or int(at_ms[0]), int(at_ms[0]))
                heard.add(key.probe)
    raised = sorted(run.alarms.values(), key=lambda alarm: (alarm.raised_at_ms, alarm.id))
    return Rehearsal(
        tuple(alarm for alarm in raised if alarm.raised_at_ms >= start_ms),
        readings,
        first_ms,
        frozenset(heard),
    )


class _Run:
    """A desk on its way through the parts."""

    def __init__(self, rules: Sequence[Regime], switches: Iterable[Switch]) -> None:
        first, *later = rules
        self._switches = deque(sorted(switches, key=itemgetter(2)))
        self._later = deque(later)
        self._silence_ms = {
            (probe.place, probe.probe): probe.silence_ms for probe in first.rules.probes
        }
        keys = (SeriesKey(*probe, quantity) for probe in self._silence_ms for quantity in MEASURED)
        self._series = {key: number for number, key in enumerate(keys)}
        self._desk, _ = AlarmDesk.load(
            first.rules,
            memories={},
            alarms=(),
            last_used={},
            series=self._series,
            now_ms=first.from_ms,
            heard=dict.fromkeys(self._silence_ms, _NOT_YET),
        )
        self._done_ms = first.from_ms - 1
        self._heard_ms: dict[ProbeKey, int] = {}
        self._ahead: set[int] = set()
        self.alarms: dict[str, Alarm] = {}

    def take(self, part: Part) -> None:
        """Go on to the end of a part.

        The clock stops where something depends on it: at the last reading before a silence, when
        the silence has lasted long enough, at the reading that ends it, when another probe is no
        longer grouped under it, and where rules change.
        """
        ticks, self._ahead = self._ahead, set()
        stops = {part.end_ms - 1}
        for probe in self._silence_ms:
            self._listen(probe, part, stops, ticks)
        changing = {}
        while self._later and self._later[0].from_ms < part.end_ms:
            regime = self._later.popleft()
            changing[regime.from_ms - 1] = regime
        self._ahead = {tick for tick in ticks if tick >= part.end_ms}
        ticks -= self._ahead
        ahead = [stop for stop in stops | ticks | changing.keys() if stop > self._done_ms]
        for stop, readings in _stretches(part.tracks, self._series, sorted(ahead)):
            reports = list(self._reported_until(stop))
            if len(readings) or reports:
                changes = self._desk.step(readings, stop, reports)
                self._note(changes)
                self._desk.commit(changes)
            if stop in ticks:
                changes = self._desk.tick(stop)
                self._note(changes)
                self._desk.commit(changes)
            if stop in changing:
                self._desk, changes = self._desk.rebuilt(changing[stop].rules, stop + 1)
                self._note(changes)
        self._done_ms = part.end_ms - 1

    def _reported_until(self, stop: int) -> Iterator[Switch]:
        while self._switches and self._switches[0][2] <= stop:
            yield self._switches.popleft()

    def _listen(self, probe: ProbeKey, part: Part, stops: set[int], ticks: set[int]) -> None:
        """Note where a probe's silences begin, become an alarm, and end."""
        silence_ms = self._silence_ms[probe]
        columns = [part.tracks[key].at_ms for key in _keys(probe) if key in part.tracks]
        at_ms = reduce(_merged, columns, np.empty(0, np.int64))
        if probe in self._heard_ms:
            at_ms = np.concatenate(([self._heard_ms[probe]], at_ms))
        if not len(at_ms):
            return
        long = np.flatnonzero(np.diff(at_ms) > silence_ms)
        stops.update(at_ms[long].tolist())
        ticks.update((at_ms[long] + silence_ms).tolist())
        ticks.update(at_ms[long + 1].tolist(), (at_ms[long + 1] + ALONE_AFTER_MS).tolist())
        # The next part may show a silence that begins with the last reading of this one.
        last_ms = self._heard_ms[probe] = int(at_ms[-1])
        stops.add(last_ms)
        if last_ms + silence_ms < part.end_ms:
            ticks.add(last_ms + silence_ms)

    def _note(self, changes: Changes) -> None:
        self.alarms.update((alarm.id, alarm) for alarm in changes.alarms)


def _keys(probe: ProbeKey) -> Iterator[SeriesKey]:
    return (SeriesKey(*probe, quantity) for quantity in MEASURED)


def _merged(one: Ints, other: Ints) -> Ints:
    """Times of either column; most probes send all their quantities at once."""
    if not len(one) or np.array_equal(one, other):
        return other
    return np.union1d(one, other)


def _stretches(
    tracks: Mapping[SeriesKey, Track], series: Mapping[SeriesKey, int], stops: list[int]
) -> Iterator[tuple[int, Readings]]:
    """The readings after each stop before, up to and with each stop."""
    cuts = {
        key: [0, *np.searchsorted(track.at_ms, stops, side="right").tolist()]
        for key, track in tracks.items()
    }
    for n, stop in enumerate(stops):
        pieces = [_NOTHING]
        for key, track in tracks.items():
            here = slice(cuts[key][n], cuts[key][n + 1])
            if here.start < here.stop:
                at_ms, value = track.at_ms[here], track.value[here]
                pieces.append(
                    Readings(np.full(len(at_ms), series[key]), at_ms, value, track.reason[here])
                )
        yield (
            stop,
            Readings(
                np.concatenate([piece.series for piece in pieces]),
                np.concatenate([piece.at_ms for piece in pieces]),
                np.concatenate([piece.value for piece in pieces]),
                np.concatenate([piece.reason for piece in pieces]),
            ),
        )
