"""InfluxDB: written to over its version 2 interface, asked in InfluxQL.

InfluxQL at ``/query`` is what versions 1, 2 and 3 answer alike; Flux is not used.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import msgspec
import numpy as np

from monitor.errors import StoreUnavailable
from monitor.quantities import Quantity
from monitor.store.buckets import HOUR_S, Tally, usable
from monitor.store.derived import DERIVED, derived, inputs
from monitor.store.readings import SeriesKey, Track
from monitor.store.remote.lines import tags
from monitor.store.remote.server import Server
from monitor.times import DAY_MS, HOUR_MS, SECOND_MS

MEASUREMENT = "dewkeep"
HOURLY = "dewkeep_hourly"
"""Where hours are added up before their readings are forgotten: count, total, low, high."""
BY_SERIES = "GROUP BY place, probe, quantity"
NAMED_AT_MOST = 50
"""Beyond so many series all are asked for, and the others left out here."""
AT_ONCE_MS = 30 * DAY_MS


Row = Sequence[Any]


class _Series(msgspec.Struct):
    values: list[list[Any]]
    tags: dict[str, str] = {}


class _Result(msgspec.Struct):
    series: list[_Series] = []
    error: str | None = None


class _Answer(msgspec.Struct):
    results: list[_Result] = []
    error: str | None = None


_decoder = msgspec.json.Decoder(_Answer)


class InfluxEngine:
    """Readings in a bucket (version 1: a database) of InfluxDB (see ``remote.engine.Engine``)."""

    safe_at_once = True
    measurement = MEASUREMENT

    def __init__(self, server: Server, bucket: str) -> None:
        self._server = server
        self._bucket = bucket

    def write(self, lines: bytes) -> None:
        """Have lines kept; InfluxDB syncs its log to disk before it answers."""
        self._server.write(lines)

    def tracks(
        self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int
    ) -> Mapping[SeriesKey, Track]:
        """The readings of some series in ``[start_ms, end_ms)``."""
        among = f"FROM {MEASUREMENT} WHERE {_span(start_ms, end_ms)}{_among(keys)} {BY_SERIES}"
        # Nearly all readings are good: asked for alone they come three times as fast.
        good = dict(self._query(f"SELECT value {among}"))
        marked = dict(self._query(f"SELECT bad, reason {among}"))
        return {
            key: _track(good.get(key, []), marked.get(key, []))
            for key in keys
            if key in good or key in marked
        }

    def tallies(
        self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int, width_s: int
    ) -> Mapping[SeriesKey, Tally]:
        """Readings that are not bad, added up by the server."""
        sums = "count(value), sum(value), min(value), max(value)"
        return self._sums(MEASUREMENT, sums, keys, start_ms, end_ms, width_s)

    def newest(self, keys: Sequence[SeriesKey]) -> Mapping[SeriesKey, Track]:
        """Of each series the newest reading that is not bad, and the newest bad one."""
        good, bad = (
            dict(self._query(f"SELECT last({field}), reason FROM {MEASUREMENT} {BY_SERIES}"))  # noqa: S608
            for field in ("value", "bad")
        )
        return {
            key: _track(
                [row[:2] for row in good.get(key, [])],
                [
                    *([at_ms, None, reason] for at_ms, _, reason in good.get(key, [])),
                    *bad.get(key, []),
                ],
            )
            for key in keys
            if key in good or key in bad
        }

    def run(self) -> str:
        """Nothing depends on restarts: what was accepted is on disk."""
        return ""

    def roll_up(self, keys: Sequence[SeriesKey], start_ms: int, end_ms: int) -> int:
        """Add hours up into a measurement that stays; derived quantities too."""
        count = 0
        for key in keys:
            found = self._query(
                f"SELECT count(value), count(bad) FROM {MEASUREMENT} "  # noqa: S608
                f"WHERE {_span(start_ms, end_ms)}{_among([key])} {BY_SERIES}"
            )
            for _, rows in found:
                count += int(rows[0][1] or 0) + int(rows[0][2] or 0)
            for first_ms, last_ms in self._filled(key, start_ms, end_ms):
                hours = self.tallies([key], first_ms, last_ms, HOUR_S)
                self._keep_hours(key, hours.get(key, Tally.nothing()))
        for pair in dict.fromkeys(key._replace(quantity=DERIVED[0]) for key in keys):
            if set(inputs(pair)) <= set(keys):
                self._roll_up_derived(pair, start_ms, end_ms)
        return count

    def forget(self, keys: Sequence[SeriesKey], before_ms: int) -> None:
        """Delete single readings."""
        for key in keys:
            self._query(
                f"DELETE FROM {MEASUREMENT} "  # noqa: S608
                f"WHERE time < {before_ms}ms{_among([key])}"
            )

    def forgotten(self, key: SeriesKey, start_ms: int, end_ms: int, width_s: int) -> Tally:
        """Buckets of whole hours from what was added up."""
        sums = "sum(count), sum(total), min(low), max(high)"
        found = self._sums(HOURLY, sums, [key], start_ms, end_ms, width_s)
        return found.get(key, Tally.nothing())

    def close(self) -> None:
        """Drop connections."""
        self._server.close()

    def _sums(
        self,
        measurement: str,
        sums: str,
        keys: Sequence[SeriesKey],
        start_ms: int,
        end_ms: int,
        width_s: int,
    ) -> dict[SeriesKey, Tally]:
        if end_ms <= start_ms:
            return {}
        found = self._query(
            f"SELECT {sums} FROM {measurement} "  # noqa: S608
            f"WHERE {_span(start_ms, end_ms)}{_among(keys)} "
            f"GROUP BY time({width_s}s), place, probe, quantity fill(none)"
        )
        wanted = set(keys)
        return {key: _tally(rows, width_s) for key, rows in found if key in wanted}

    def _filled(self, key: SeriesKey, start_ms: int, end_ms: int) -> Iterator[tuple[int, int]]:
        """The parts of a span that hold readings of a series, a month or so each."""
        found = self._query(
            f"SELECT first(value) FROM {MEASUREMENT} "  # noqa: S608
            f"WHERE {_span(start_ms, end_ms)}{_among([key])} {BY_SERIES}"
        )
        for _, rows in found:
            first_ms = rows[0][0] // HOUR_MS * HOUR_MS
            for at_ms in range(first_ms, end_ms, AT_ONCE_MS):
                yield at_ms, min(at_ms + AT_ONCE_MS, end_ms)

    def _roll_up_derived(self, pair: SeriesKey, start_ms: int, end_ms: int) -> None:
        temperature, humidity = inputs(pair)
        for first_ms, last_ms in self._filled(temperature, start_ms, end_ms):
            tracks = self.tracks([temperature, humidity], first_ms, last_ms)
            if len(tracks) == 2:
                for quantity in DERIVED:
                    track = usable(derived(quantity, tracks[temperature], tracks[humidity]))
                    tally = Tally.of(track.at_ms // HOUR_MS, track.value)
                    self._keep_hours(pair._replace(quantity=quantity), tally)

    def _keep_hours(self, key: SeriesKey, tally: Tally) -> None:
        head = tags(HOURLY, key)
        lines = [
            f"{head}count={float(count)},total={total!r},low={low!r},high={high!r} {slot * HOUR_MS}"
            for slot, count, total, low, high in zip(
                tally.slot.tolist(),
                tally.count.tolist(),
                tally.total.tolist(),
                tally.low.tolist(),
                tally.high.tolist(),
                strict=True,
            )
        ]
        if lines:
            self._server.write("\n".join(lines).encode())

    def _query(self, text: str) -> list[tuple[SeriesKey, list[list[Any]]]]:
        """The rows of each series that a statement finds."""
        body = self._server.ask("/query", {"db": self._bucket, "epoch": "ms", "q": text})
        try:
            answer = _decoder.decode(body)
        except msgspec.DecodeError as exc:
            raise StoreUnavailable(f"{self._server.url}/query: not understood: {exc}") from exc
        for error in (answer.error, *(result.error for result in answer.results)):
            if error:
                raise StoreUnavailable(f"{self._server.url}/query: {error}")
        return [
            (key, each.values)
            for result in answer.results
            for each in result.series
            if (key := _key(each.tags)) is not None
        ]


def _span(start_ms: int, end_ms: int) -> str:
    return f"time >= {start_ms}ms AND time < {end_ms}ms"


def _among(keys: Sequence[SeriesKey]) -> str:
    """A further condition; the names in keys are plain (``lines.check``)."""
    if len(keys) > NAMED_AT_MOST:
        return ""
    each = (
        f"(place = '{key.place}' AND probe = '{key.probe}' AND quantity = '{key.quantity}')"
        for key in keys
    )
    return f" AND ({' OR '.join(each)})"


def _key(named: Mapping[str, str]) -> SeriesKey | None:
    """The series that tags name; none for a quantity that this version does not know."""
    try:
        return SeriesKey(named["place"], named["probe"], Quantity(named["quantity"]))
    except (KeyError, ValueError):
        return None


def _tally(rows: Sequence[Row], width_s: int) -> Tally:
    """Rows of (start, number, sum, lowest, highest) as a tally."""
    # Where only a bad reading stands, the server gives a row without a number.
    full = [row for row in rows if row[1]]
    at_ms, count, total, low, high = np.array(full, np.float64).reshape(-1, 5).T
    slot = at_ms.astype(np.int64) // (width_s * SECOND_MS)
    return Tally(slot, count.astype(np.int64), total, low, high)


def _track(good: Sequence[Row], marked: Sequence[Row]) -> Track:
    """One series from rows of (time, value) and rows of (time, bad value, reason)."""
    bad = [(at_ms, value) for at_ms, value, _ in marked if value is not None]
    rows = np.array([*good, *bad], np.float64).reshape(-1, 2)
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    at_ms = rows[:, 0].astype(np.int64)
    reason = np.zeros(len(at_ms), np.uint8)
    if marked:
        known = {row[0]: row[2] or 0 for row in marked}
        reason[:] = [known.get(at, 0) for at in at_ms.tolist()]
    return Track(at_ms, rows[:, 1].copy(), reason)
