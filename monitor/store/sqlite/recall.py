"""Recall: what the file knows of a series at one moment, from chapters, rollups and log."""

import json
import sqlite3
from collections.abc import Callable
from functools import cached_property

import numpy as np

from monitor.quality import FIRST_BAD
from monitor.quantities import MEASURED
from monitor.store.buckets import Tally, usable, widened
from monitor.store.derived import derived
from monitor.store.readings import Codes, Flags, Floats, Ints, SeriesKey, Track
from monitor.store.sqlite import log
from monitor.store.sqlite.catalogue import HOUR_BITS, HOUR_MASK, Catalogue
from monitor.store.sqlite.chapters import Shelf, rolled_up, shelved, take
from monitor.store.sqlite.settled import Asked, Settled, Sums
from monitor.times import HOUR_MS, SECOND_MS


class Recall:
    """Answers from one read transaction; the log is read once however many series are asked for."""

    def __init__(
        self, connection: sqlite3.Connection, catalogue: Catalogue, edition: int = 0
    ) -> None:
        self.connection = connection
        self.catalogue = catalogue
        self.edition = edition
        """That of the chapters, at the latest when the transaction began."""

    @cached_property
    def logged(self) -> log.Records:
        """The records that are not tidied yet."""
        return log.read(self.connection)

    def track(self, key: SeriesKey, start_ms: int, end_ms: int) -> Track:
        """All readings of a measured or derived series in ``[start_ms, end_ms)``."""
        sources = self.catalogue.sources(key)
        return _combined(key, [self.stored(source, start_ms, end_ms) for source in sources])

    def stored(self, series: int, start_ms: int, end_ms: int) -> Track:
        """All readings of a stored series in ``[start_ms, end_ms)``."""
        first, last = _hours(start_ms, end_ms)
        shelf = Shelf.of(
            self.connection.execute(
                "SELECT key, readings FROM chapter WHERE key BETWEEN ? AND ? ORDER BY key",
                (series << HOUR_BITS | first, series << HOUR_BITS | last),
            ).fetchall()
        )
        return self._with_logged(series, shelf, lambda at: (at >= start_ms) & (at < end_ms))

    def tally(self, key: SeriesKey, start_ms: int, end_ms: int, width_s: int) -> Tally:
        """A series added up in buckets of whole hours, from its rollups.

        Hours for which the log holds readings are added up anew, from chapter and log.
        """
        start_ms, end_ms = widened(start_ms, end_ms, width_s)
        hours = self._unsettled_hours(key, start_ms, end_ms)
        unsettled = usable(self._track_of_hours(key, hours))
        own = self.catalogue.ids.get(key, 0) << HOUR_BITS
        first, last = _hours(start_ms, end_ms)
        hours_each = width_s * SECOND_MS // HOUR_MS
        rows = self.connection.execute(
            "SELECT (key & ?) / ? AS slot, sum(count), sum(total), min(low), max(high) "
            "FROM rollup WHERE key BETWEEN ? AND ? "
            "AND key NOT IN (SELECT value FROM json_each(?)) GROUP BY slot",
            (HOUR_MASK, hours_each, own | first, own | last, json.dumps((own | hours).tolist())),
        ).fetchall()
        slot, count, total, low, high = np.array(rows, np.float64).reshape(-1, 5).T
        settled = Tally(slot.astype(np.int64), count.astype(np.int64), total, low, high)
        slots = unsettled.at_ms // (width_s * SECOND_MS)
        return Tally.joined([settled, Tally.of(slots, unsettled.value)])

    def tally_many(
        self, series: Ints, start_ms: int, end_ms: int, width_s: int, settled: Settled
    ) -> dict[int, Tally]:
        """Stored series (ids, ascending) added up in buckets that divide an hour, by series id.

        All are read and added up in one go. Hours for which the log holds readings too are added up
        anew; all others may come from what is remembered.
        """
        start_ms, end_ms = widened(start_ms, end_ms, width_s)
        first, last = _hours(start_ms, end_ms)
        asked = Asked(series.tobytes(), first, last, width_s)
        slots = _Slots(series, first, last, width_s)
        sums = settled.known(asked)
        if sums is None:
            edition = self.edition
            shelf = take(self.connection, slots.keys())
            key = shelf.key.repeat(shelf.count)
            sums = Sums(shelf.key, slots.tally(key, shelf.at_ms, shelf.value, shelf.reason))
            settled.keep(asked, sums, edition)

        logged = self.logged[np.isin(self.logged["series"], series)]
        key = logged["series"].astype(np.int64) << HOUR_BITS | logged["at_ms"] // HOUR_MS
        inside = ((key & HOUR_MASK) >= first) & ((key & HOUR_MASK) <= last)
        logged, key = logged[inside], key[inside]
        both = np.intersect1d(key, sums.keys)
        again = take(self.connection, both)
        key = np.concatenate((again.key.repeat(again.count), key))
        at_ms = np.concatenate((again.at_ms, logged["at_ms"]))
        value = np.concatenate((again.value, logged["value"]))
        reason = np.concatenate((again.reason, logged["reason"]))
        # Ordered by series and time, of several at one time the first: the shelf's.
        _, order = np.unique(slots.place(key, at_ms), return_index=True)
        fresh = slots.tally(key[order], at_ms[order], value[order], reason[order])
        past = sums.tally.without(slots.of_hours(both, sums.tally.slot))
        together = Tally.joined([past, fresh])
        bounds = slots.bounds(together.slot)
        first_slot, end_slot = start_ms // slots.width_ms, end_ms // slots.width_ms
        found = {}
        for n in np.flatnonzero(np.diff(bounds)).tolist():
            own = together.part(bounds[n], bounds[n + 1], slots.shift(n))
            low, high = np.searchsorted(own.slot, (first_slot, end_slot))
            found[int(series[n])] = own.part(low, high, 0)
        return found

    def fewest(self, key: SeriesKey, start_ms: int, end_ms: int) -> int:
        """At least this many readings that are not bad lie in the span (quick, from rollups)."""
        own = self.catalogue.ids.get(key, 0) << HOUR_BITS
        first, last = max(-(-start_ms // HOUR_MS), 0), min(end_ms // HOUR_MS - 1, HOUR_MASK)
        (count,) = self.connection.execute(
            "SELECT coalesce(sum(count), 0) FROM rollup WHERE key BETWEEN ? AND ?",
            (own | first, own | last),
        ).fetchone()
        return int(count)

    def is_whole(self, key: SeriesKey, start_ms: int, end_ms: int) -> bool:
        """Whether the readings of the span are all still there, none of its hours forgotten."""
        own = self.catalogue.ids.get(key, 0) << HOUR_BITS
        first, last = _hours(start_ms, end_ms)
        # The sources of a derived series are forgotten together: one of them tells.
        for source in self.catalogue.sources(key)[:1]:
            gap = self.connection.execute(
                "SELECT 1 FROM rollup WHERE key BETWEEN ? AND ? AND NOT EXISTS "
                "(SELECT 1 FROM chapter WHERE chapter.key = rollup.key + ?) LIMIT 1",
                (own | first, own | last, (source << HOUR_BITS) - own),
            ).fetchone()
            return gap is None
        return True

    def _unsettled_hours(self, key: SeriesKey, start_ms: int, end_ms: int) -> Ints:
        """The hours of the span for which the log holds readings of the series.

        Not those that are forgotten: their rollup stands, and late readings will be dropped.
        """
        sources = self.catalogue.sources(key)
        at_ms = self.logged["at_ms"][np.isin(self.logged["series"], sources)]
        hours = np.unique(at_ms[(at_ms >= start_ms) & (at_ms < end_ms)] // HOUR_MS)
        if not len(hours):
            return hours
        own = self.catalogue.ids[key] << HOUR_BITS
        rolled = rolled_up(self.connection, own | hours) & HOUR_MASK
        held = shelved(self.connection, sources[0] << HOUR_BITS | rolled) & HOUR_MASK
        return np.setdiff1d(hours, np.setdiff1d(rolled, held))

    def _track_of_hours(self, key: SeriesKey, hours: Ints) -> Track:
        tracks = []
        for source in self.catalogue.sources(key):
            shelf = take(self.connection, source << HOUR_BITS | hours)
            tracks.append(
                self._with_logged(source, shelf, lambda at: np.isin(at // HOUR_MS, hours))
            )
        return _combined(key, tracks)

    def _with_logged(self, series: int, shelf: Shelf, within: Callable[[Ints], Flags]) -> Track:
        """Readings of a shelf and of the log together; at the same time the shelf's wins."""
        kept = within(shelf.at_ms)
        at_ms, value, reason = shelf.at_ms[kept], shelf.value[kept], shelf.reason[kept]
        mine = self.logged[self.logged["series"] == series]
        mine = mine[within(mine["at_ms"])]
        if not len(mine):
            return Track(at_ms, value, reason)
        return _each_time_once(
            np.concatenate((at_ms, mine["at_ms"])),
            np.concatenate((value, mine["value"])),
            np.concatenate((reason, mine["reason"])),
        )


class _Slots:
    """Buckets of many series side by side: those of the first series, then those of the next."""

    def __init__(self, series: Ints, first_hour: int, last_hour: int, width_s: int) -> None:
        self._series = series
        self._hours = np.arange(first_hour, last_hour + 1)
        self._origin_ms = first_hour * HOUR_MS
        self._span_ms = len(self._hours) * HOUR_MS
        self.width_ms = width_s * SECOND_MS
        self._each = self._span_ms // self.width_ms

    def keys(self) -> Ints:
        """The keys of all chapters."""
        keys: Ints = (self._series[:, None] << HOUR_BITS | self._hours).ravel()
        return keys

    def place(self, key: Ints, at_ms: Ints) -> Ints:
        """Series and time as one number that ascends with both."""
        number: Ints = np.searchsorted(self._series, key >> HOUR_BITS)
        return number * self._span_ms + (at_ms - self._origin_ms)

    def tally(self, key: Ints, at_ms: Ints, value: Floats, reason: Codes) -> Tally:
        """Readings that are not bad, in order of their place."""
        good = reason < FIRST_BAD
        return Tally.of(self.place(key[good], at_ms[good]) // self.width_ms, value[good])

    def of_hours(self, keys: Ints, slot: Ints) -> Flags:
        """Which slots lie in the hours of these keys."""
        hour = self.place(keys, (keys & HOUR_MASK) * HOUR_MS) // HOUR_MS
        return np.isin(slot * self.width_ms // HOUR_MS, hour)

    def bounds(self, slot: Ints) -> Ints:
        """Where the slots of each series begin, and where the last ends."""
        return np.searchsorted(slot, np.arange(len(self._series) + 1) * self._each)

    def shift(self, number: int) -> int:
        """What turns a slot of the series at ``number`` into one that counts from the epoch."""
        return self._origin_ms // self.width_ms - number * self._each


def _each_time_once(at_ms: Ints, value: Floats, reason: Codes) -> Track:
    """Sorted by time; of several at one time the first is kept."""
    order = np.argsort(at_ms, kind="stable")
    at_ms = at_ms[order]
    first = np.flatnonzero(np.diff(at_ms, prepend=-1))
    return Track(at_ms[first], value[order[first]], reason[order[first]])


def _combined(key: SeriesKey, tracks: list[Track]) -> Track:
    """The track of a series from those of its sources; empty if it has none."""
    if not tracks:
        return Track(np.empty(0, np.int64), np.empty(0, np.float64), np.empty(0, np.uint8))
    if key.quantity in MEASURED:
        return tracks[0]
    return derived(key.quantity, *tracks)


def _hours(start_ms: int, end_ms: int) -> tuple[int, int]:
    """The first and the last hour that a span touches (the last before the first: none)."""
    if end_ms <= start_ms:
        return 1, 0
    return min(max(start_ms // HOUR_MS, 0), HOUR_MASK), min((end_ms - 1) // HOUR_MS, HOUR_MASK)
