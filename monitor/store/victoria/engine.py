"""VictoriaMetrics: written to as InfluxDB is, asked over its own query and export interfaces.

A line's field becomes a metric: ``dewkeep_value``, ``dewkeep_bad``, ``dewkeep_reason``. Values keep
about 13 digits. There is no log on its disk: what it has accepted in the last seconds goes with its
sudden end, so dewkeep keeps it for a while longer (``remote.spool``).
"""

import logging
import time
from collections.abc import Iterator, Mapping, Sequence
from itertools import count
from typing import TypeVar

import msgspec
import numpy as np

from monitor.errors import StoreUnavailable
from monitor.quantities import MEASURED, Quantity
from monitor.store.buckets import WIDTHS_S, Tally, usable
from monitor.store.derived import derived, inputs
from monitor.store.readings import SeriesKey, Track
from monitor.store.remote.server import Server
from monitor.times import DAY_MS, HOUR_MS, SECOND_MS

log = logging.getLogger(__name__)

Found = TypeVar("Found")

MEASUREMENT = "dewkeep"
VALUE, BAD, REASON = FIELDS = ("value", "bad", "reason")
PLACES_AT_ONCE = 200
"""So many places are named in one question."""
LOOK_BACK_MS = (HOUR_MS, DAY_MS, 60 * DAY_MS, 40 * 365 * DAY_MS)
"""How far back to look for the newest reading, as long as there is a series without one."""
WIDEST_S = WIDTHS_S[-1]
EARLIEST_MS = 4 * WIDEST_S * SECOND_MS
"""A window that reaches back to 1970 finds nothing at all; nothing is as old as this."""
SUMS = ("count_over_time", "sum_over_time", "min_over_time", "max_over_time")
LAST = ("tlast_over_time", "last_over_time")
STARTED = b"vm_app_start_timestamp "
NO_REPEATS = b'flag{name="dedup.minScrapeInterval", value="1ms"'


class _Exported(msgspec.Struct):
    metric: dict[str, str]
    values: list[float]
    timestamps: list[int]


class _Row(msgspec.Struct):
    metric: dict[str, str]
    value: tuple[float, str] = (0.0, "")
    values: list[tuple[float, str]] = []


class _Data(msgspec.Struct):
    result: list[_Row]


class _Answer(msgspec.Struct):
    data: _Data


_questions = count()
_exported = msgspec.json.Decoder(_Exported)
_answer = msgspec.json.Decoder(_Answer)


class VictoriaEngine:
    """Readings in VictoriaMetrics (see ``remote.engine.Engine``)."""

    safe_at_once = False
    measurement = MEASUREMENT

    def __init__(self, server: Server) -> None:
        self._server = server

    def write(self, lines: bytes) -> None:
        """Have lines kept; they can be read about a second later."""
        self._server.write(lines)

    def tracks(
        self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int
    ) -> Mapping[SeriesKey, Track]:
        """The readings of some series in ``[start_ms, end_ms)``."""
        if end_ms <= start_ms:
            return {}
        blocks: dict[SeriesKey, list[_Exported]] = {}
        for selector in _selectors(keys):
            fields = {
                "match[]": selector,
                "start": _seconds(start_ms),
                "end": _seconds(end_ms - 1),
            }
            for line in self._server.ask("/api/v1/export", fields).splitlines():
                block = self._understood(_exported, line)
                if (key := _key(block.metric)) is not None:
                    blocks.setdefault(key, []).append(block)
        return {key: _track(blocks[key]) for key in keys if key in blocks}

    def tallies(
        self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int, width_s: int
    ) -> Mapping[SeriesKey, Tally]:
        """Readings that are not bad, added up by the server."""
        # Wide buckets are put together here: a window that reaches back to 1970 finds nothing.
        step_s = min(width_s, WIDEST_S)
        step_ms = step_s * SECOND_MS
        start_ms = max(start_ms, EARLIEST_MS)
        if end_ms <= start_ms:
            return {}
        sums: dict[SeriesKey, dict[str, dict[int, float]]] = {}
        for some in _batches(keys):
            # It reaches from just after its start to its end: a millisecond less makes it ours.
            fields = {
                "query": f"{_each(SUMS)}, {_metric(VALUE, some)}[{step_s}s])",
                "start": _seconds(start_ms + step_ms - 1),
                "end": _seconds(end_ms - 1),
                "step": f"{step_s}s",
                "nocache": "1",
            }
            for row in self._ask("/api/v1/query_range", fields):
                if (key := _key(row.metric)) is not None:
                    sums.setdefault(key, {})[row.metric["rollup"]] = {
                        round(at * SECOND_MS) // step_ms: float(value) for at, value in row.values
                    }
        return {key: _tally(sums[key], width_s // step_s) for key in keys if key in sums}

    def newest(self, keys: Sequence[SeriesKey]) -> Mapping[SeriesKey, Track]:
        """Of each series the newest reading that is not bad, and the newest bad one."""
        self._look_for_repeats()
        ends: dict[SeriesKey, dict[str, tuple[int, float]]] = {}
        missing = list(keys)
        for back_ms in LOOK_BACK_MS:
            for some in _batches(missing):
                for field in FIELDS:
                    for key, end in self._last(field, some, back_ms).items():
                        ends.setdefault(key, {}).setdefault(field, end)
            missing = [key for key in missing if VALUE not in ends.get(key, ())]
            if not missing:
                break
        return {key: self._ends(key, ends[key]) for key in keys if key in ends}

    def run(self) -> str:
        """When the server was started, by its own word."""
        for line in self._server.ask("/metrics").splitlines():
            if line.startswith(STARTED):
                return line.decode()
        return ""

    def roll_up(self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int) -> int:
        """Nothing to prepare, the readings stay where they are; how many there are."""
        start_ms = max(start_ms, EARLIEST_MS)
        if end_ms <= start_ms:
            return 0
        window = f"[{end_ms - start_ms}ms]"
        counts = (
            self._instant(
                f"{_each(SUMS[:1])}, {_metric(field, some)}{window})", end_ms - 1, SUMS[0]
            )
            for some in _batches(keys)
            for field in (VALUE, BAD)
        )
        wanted = set(keys)
        return round(sum(n for each in counts for key, n in each.items() if key in wanted))

    def forget(self, keys: Sequence[SeriesKey], before_ms: int) -> None:
        """Nothing: the server lets go of readings by its own ``-retentionPeriod`` only."""

    def forgotten(self, key: SeriesKey, start_ms: int, end_ms: int, width_s: int) -> Tally:
        """Buckets of the readings, which the server still has."""
        if key.quantity in MEASURED:
            return self.tallies([key], start_ms, end_ms, width_s).get(key, Tally.nothing())
        temperature, humidity = inputs(key)
        tracks = self.tracks([temperature, humidity], start_ms, end_ms)
        if temperature not in tracks or humidity not in tracks:
            return Tally.nothing()
        track = usable(derived(key.quantity, tracks[temperature], tracks[humidity]))
        return Tally.of(track.at_ms // (width_s * SECOND_MS), track.value)

    def show(self) -> None:
        """Have what was accepted found by questions now, not in a second (a single node only)."""
        self._server.ask("/internal/force_flush")

    def close(self) -> None:
        """Drop connections."""
        self._server.close()

    def _last(
        self, field: str, keys: Sequence[SeriesKey], back_ms: int
    ) -> dict[SeriesKey, tuple[int, float]]:
        """Time and value of the last sample of a metric, by series, within a while up to now."""
        end_ms = time.time_ns() // 1_000_000 + DAY_MS
        query = f"{_each(LAST)}, {_metric(field, keys)}[{back_ms // SECOND_MS}s])"
        times, values = (self._instant(query, end_ms, name) for name in LAST)
        return {key: (round(at * SECOND_MS), values[key]) for key, at in times.items()}

    def _ends(self, key: SeriesKey, ends: Mapping[str, tuple[int, float]]) -> Track:
        """The readings at the ends of a series; its reasons end earlier, or are looked up."""
        rows = {at_ms: value for field, (at_ms, value) in ends.items() if field != REASON}
        at_ms = sorted(rows)
        reason = dict.fromkeys(at_ms, 0)
        for at in at_ms:
            if REASON in ends and at <= ends[REASON][0]:
                track = self.tracks([key], at, at + 1).get(key)
                reason[at] = int(track.reason[0]) if track else 0
        return Track(
            np.array(at_ms, np.int64),
            np.array([rows[at] for at in at_ms], np.float64),
            np.array([reason[at] for at in at_ms], np.uint8),
        )

    def _instant(self, query: str, at_ms: int, rollup: str) -> dict[SeriesKey, float]:
        fields = {"query": query, "time": _seconds(at_ms), "nocache": "1"}
        return {
            key: float(row.value[1])
            for row in self._ask("/api/v1/query", fields)
            if row.metric.get("rollup") == rollup and (key := _key(row.metric)) is not None
        }

    def _ask(self, path: str, fields: Mapping[str, str]) -> list[_Row]:
        return self._understood(_answer, self._server.ask(path, fields)).data.result

    def _understood(self, decoder: msgspec.json.Decoder[Found], body: bytes) -> Found:
        try:
            return decoder.decode(body)
        except msgspec.DecodeError as exc:
            raise StoreUnavailable(f"{self._server.url}: not understood: {exc}") from exc

    def _look_for_repeats(self) -> None:
        metrics = self._server.ask("/metrics")
        if b"flag{" in metrics and NO_REPEATS not in metrics:
            log.warning(
                "%s: runs without -dedup.minScrapeInterval=1ms, so a reading that had to be sent "
                "twice counts twice in buckets",
                self._server.url,
            )


def _each(names: Sequence[str]) -> str:
    """The beginning of a query for several sums over the same readings."""
    listed = ", ".join(f'"{name}"' for name in names)
    return f"aggr_over_time(({listed})"


def _metric(field: str, keys: Sequence[SeriesKey]) -> str:
    """A metric of some series, and of others of the same places; names are plain."""
    probe = quantity = ""
    if len(keys) == 1:
        probe, quantity = f', probe="{keys[0].probe}"', f', quantity="{keys[0].quantity}"'
    places = "|".join(dict.fromkeys(key.place.replace(".", "[.]") for key in keys))
    # Never the same question twice: for ten seconds the server remembers that a series was not
    # there, also when it has come since.
    once = f', probe!="?{next(_questions)}"'
    return f'{MEASUREMENT}_{field}{{place=~"{places}"{probe}{quantity}{once}}}'


def _selectors(keys: Sequence[SeriesKey]) -> Iterator[str]:
    fields = "|".join(f"{MEASUREMENT}_{field}" for field in FIELDS)
    for some in _batches(keys):
        yield _metric("", some).replace(f"{MEASUREMENT}_{{", f'{{__name__=~"{fields}", ')


def _batches(keys: Sequence[SeriesKey]) -> Iterator[Sequence[SeriesKey]]:
    """Series in batches of no more than ``PLACES_AT_ONCE`` places."""
    by_place: dict[str, list[SeriesKey]] = {}
    for key in keys:
        by_place.setdefault(key.place, []).append(key)
    places = list(by_place.values())
    for first in range(0, len(places), PLACES_AT_ONCE):
        yield [key for place in places[first : first + PLACES_AT_ONCE] for key in place]


def _seconds(at_ms: int) -> str:
    return f"{at_ms // SECOND_MS}.{at_ms % SECOND_MS:03d}"


def _key(metric: Mapping[str, str]) -> SeriesKey | None:
    """The series that labels name; none for a quantity that this version does not know."""
    try:
        return SeriesKey(metric["place"], metric["probe"], Quantity(metric["quantity"]))
    except (KeyError, ValueError):
        return None


def _tally(sums: Mapping[str, Mapping[int, float]], steps: int) -> Tally:
    """The sums of a series by name and step as a tally, so many steps to a slot."""
    steps_there = sorted(sums[SUMS[0]])
    number, total, low, high = (
        np.array([sums[name][step] for step in steps_there], np.float64) for name in SUMS
    )
    slot = np.array(steps_there, np.int64) // steps
    return Tally(slot, number.astype(np.int64), total, low, high).gathered()


def _track(blocks: Sequence[_Exported]) -> Track:
    """Samples of the three metrics of a series as its track; what was sent twice stands once."""
    reasons: dict[int, float] = {}
    for block in blocks:
        if block.metric["__name__"].endswith(REASON):
            reasons.update(zip(block.timestamps, block.values, strict=True))
    held = [block for block in blocks if not block.metric["__name__"].endswith(REASON)]
    at_ms = np.concatenate([np.array(b.timestamps, np.int64) for b in held] or [np.empty(0, int)])
    value = np.concatenate([np.array(b.values, np.float64) for b in held] or [np.empty(0)])
    at_ms, first = np.unique(at_ms, return_index=True)
    reason = np.zeros(len(at_ms), np.uint8)
    if reasons:
        reason[:] = [int(reasons.get(at, 0)) for at in at_ms.tolist()]
    return Track(at_ms, value[first], reason)
