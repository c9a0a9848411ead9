"""The embedded engine for readings: a log that is tidied into chapters, and rollups by the hour.

docs/storage.md explains why. Appending, tidying and expiring are the writer's; reading is open to
every thread.
"""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial
from typing import NamedTuple

import numpy as np

from monitor.errors import StoreError
from monitor.quality import Reason
from monitor.quantities import MEASURED
from monitor.store.buckets import HOUR_S, bucketed, raw, usable, widened, width_for
from monitor.store.newest import Newest
from monitor.store.readings import (
    Buckets,
    Latest,
    Readings,
    SeriesKey,
    Track,
    refuse_impossible,
)
from monitor.store.sqlite import catalogue, codec, log
from monitor.store.sqlite.catalogue import HOUR_BITS, HOUR_MASK, MAX_SERIES, Catalogue
from monitor.store.sqlite.chapters import Shelf, absorb
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.recall import Recall
from monitor.store.sqlite.settled import Settled
from monitor.times import HOUR_MS, MINUTE_MS

GRACE_MS = 5 * MINUTE_MS
"""An hour is tidied this long after its end, when the last readings of it have arrived."""

LOG_READINGS = 500_000
"""With this many readings the log is tidied before the hour is over, so that reads stay quick."""

LOG_ROWS = 1_000
"""With this many rows the log is folded."""

SERIES_AT_ONCE = 1_000
"""So many series are tidied in one transaction; a larger house takes several, a call for each."""

END_OF_TIME_MS = (HOUR_MASK + 1) * HOUR_MS


class _Moving(NamedTuple):
    """Readings that are on their way from the log into chapters, in the order of their series."""

    before_ms: int
    after_series: int = 0


class SqliteReadings:
    """Readings in the SQLite file (see the port, ``ReadingStore``)."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._ripe_ms = 0
        self._moving: _Moving | None = None
        self._settled = Settled()
        self._load()

    def series_ids(self, keys: Sequence[SeriesKey]) -> list[int]:
        """Ids of measured series, in the order asked, making those that are new."""
        known = self._catalogue.measured
        if all(key in known for key in keys):
            return [known[key] for key in keys]
        for key in keys:
            if key.quantity not in MEASURED:
                raise StoreError(f"{key.quantity}: derived, never stored; store what was measured")
        with self._database.transaction() as connection:
            ids = catalogue.add(connection, keys)
            if max(ids) > MAX_SERIES:
                raise StoreError(f"too many series (no more than {MAX_SERIES})")
            self._database.once_committed(self._look_up_series)
            return ids

    def known_series(self) -> Mapping[SeriesKey, int]:
        """All measured series that exist."""
        with self._recall() as recall:
            return recall.catalogue.measured

    def append(self, readings: Readings) -> None:
        """Keep readings; durable when the surrounding transaction has committed."""
        if not len(readings):
            return
        with self._database.transaction() as connection:
            self._check(connection, readings)
            log.append(connection, readings)
            self._database.once_committed(partial(self._appended, readings))

    def flush(self) -> None:
        """Nothing is left to do: what is committed is in the file."""

    def backfill(self, readings: Readings) -> None:
        """Keep many old readings, straight into their chapters.

        For imports, some hundred thousand at a time: other writers wait until it is done.
        """
        with self._database.transaction() as connection:
            self._check(connection, readings)
            logged = log.read(connection)
            self._absorb(connection, _together(log.columns(logged), readings))
            log.replace(connection, logged[:0])
            self._database.once_committed(partial(self._note, readings))
            self._database.once_committed(self._measure_log)
        self._database.checkpoint()

    def latest(self) -> Mapping[int, Latest]:
        """The newest reading of every series that is not bad, by series id."""
        return self._newest.view()

    def refresh(self) -> None:
        """Take notice of what other processes have written since."""
        if self._database.foreign_writes() != self._foreign_writes:
            self._load()

    def track(self, key: SeriesKey, start_ms: int, end_ms: int) -> Track:
        """All readings of a measured or derived series with ``start_ms <= at < end_ms``."""
        with self._recall() as recall:
            return recall.track(key, start_ms, end_ms)

    def buckets(self, key: SeriesKey, start_ms: int, end_ms: int, points: int) -> Buckets:
        """The series from start to end in at most ``points`` buckets, or raw if that few readings.

        Where the readings themselves are forgotten, no bucket is narrower than an hour.
        """
        width_s = width_for(start_ms, end_ms, points)
        with self._recall() as recall:
            if recall.fewest(key, start_ms, end_ms) <= points:
                track = usable(recall.track(key, start_ms, end_ms))
                if len(track) <= points and recall.is_whole(key, start_ms, end_ms):
                    return raw(track)
            if width_s < HOUR_S:
                span = widened(start_ms, end_ms, width_s)
                if recall.is_whole(key, *span):
                    return bucketed(recall.track(key, *span), width_s)
                width_s = width_for(start_ms, end_ms, points, HOUR_S)
            return recall.tally(key, start_ms, end_ms, width_s).drawn(width_s)

    def many(
        self, keys: Iterable[SeriesKey], start_ms: int, end_ms: int, width_s: int
    ) -> Mapping[SeriesKey, Buckets]:
        """Measured series in buckets of one width, which divides an hour (see ``store.many``)."""
        with self._recall() as recall:
            wanted = {recall.catalogue.measured[key]: key for key in keys}
            series = np.array(sorted(wanted), np.int64)
            tallies = recall.tally_many(series, start_ms, end_ms, width_s, self._settled)
        return {wanted[series]: tally.drawn(width_s) for series, tally in tallies.items()}

    def tidy(self, now_ms: int) -> None:
        """Move the readings of hours that are over into chapters; cheap when there are none."""
        self.refresh()
        ripe_ms = (now_ms - GRACE_MS) // HOUR_MS * HOUR_MS
        if self._moving is None:
            if self._log_readings >= LOG_READINGS:
                self._moving = _Moving(END_OF_TIME_MS)
            elif ripe_ms != self._ripe_ms:
                self._moving = _Moving(ripe_ms)
                self._ripe_ms = ripe_ms
        if self._moving is not None:
            self._moving = self._move(self._moving, SERIES_AT_ONCE)
        elif self._log_rows >= LOG_ROWS:
            with self._database.transaction() as connection:
                log.fold(connection)
                self._database.once_committed(self._measure_log)

    def expire(self, before_ms: int) -> int:
        """Forget raw readings older than ``before_ms``, by whole hours; how many went.

        Rollups stay, so long-range buckets do too.
        """
        hour = min(max(before_ms // HOUR_MS, 0), HOUR_MASK)
        went = 0
        self._settled.close()
        with self._database.transaction() as connection:
            self._move(_Moving(hour * HOUR_MS), MAX_SERIES)
            for series in self._catalogue_at(connection).measured.values():
                span = (series << HOUR_BITS, series << HOUR_BITS | hour)
                old = connection.execute(
                    "SELECT readings FROM chapter WHERE key >= ? AND key < ?", span
                ).fetchall()
                connection.execute("DELETE FROM chapter WHERE key >= ? AND key < ?", span)
                went += sum(codec.count_of(blob) for (blob,) in old)
            self._database.once_committed(self._load)
        return went

    @contextmanager
    def _recall(self) -> Iterator[Recall]:
        edition = self._settled.edition
        with self._database.reading() as connection:
            self._catalogue = self._catalogue_at(connection)
            yield Recall(connection, self._catalogue, edition)

    def _load(self) -> None:
        """Fill the memory from the file."""
        self._settled.reopen()
        self._foreign_writes = self._database.foreign_writes()
        with self._database.reading() as connection:
            self._catalogue = catalogue.load(connection)
            newest = Newest()
            logged = log.columns(log.read(connection))
            newest.note(_together(_last_chapters(connection), logged))
            self._log_rows, self._log_readings = log.size(connection)
        self._newest = newest

    def _look_up_series(self) -> None:
        with self._database.reading() as connection:
            self._catalogue = catalogue.load(connection)

    def _measure_log(self) -> None:
        with self._database.reading() as connection:
            self._log_rows, self._log_readings = log.size(connection)

    def _catalogue_at(self, connection: sqlite3.Connection) -> Catalogue:
        """The catalogue as a connection sees it; a transaction may have added to it."""
        (highest,) = connection.execute("SELECT coalesce(max(id), 0) FROM series").fetchone()
        if highest < self._catalogue.size:
            return self._catalogue
        return catalogue.load(connection)

    def _appended(self, readings: Readings) -> None:
        self._log_rows += 1
        self._log_readings += len(readings)
        self._note(readings)

    def _note(self, readings: Readings) -> None:
        for series, after_ms, upto_ms in self._newest.note(readings):
            with self._recall() as recall:
                track = usable(recall.stored(series, after_ms + 1, upto_ms + 1))
            if len(track):
                last = Latest(
                    int(track.at_ms[-1]), float(track.value[-1]), Reason(int(track.reason[-1]))
                )
                self._newest.settle(series, last)

    def _move(self, moving: _Moving, at_most: int) -> _Moving | None:
        """Tidy the readings of at most so many series; what then remains to be moved."""
        with self._database.transaction() as connection:
            logged = log.read(connection)
            ripe = (logged["at_ms"] < moving.before_ms) & (logged["series"] > moving.after_series)
            series = np.unique(logged["series"][ripe])
            if not len(series):
                return None
            last = int(series[:at_most][-1])
            ripe &= logged["series"] <= last
            self._absorb(connection, log.columns(logged[ripe]))
            log.replace(connection, logged[~ripe])
            self._database.once_committed(self._measure_log)
        self._database.checkpoint()
        return moving._replace(after_series=last) if len(series) > at_most else None

    def _absorb(self, connection: sqlite3.Connection, readings: Readings) -> None:
        # A reader must not see the new file beside the old sums, however briefly.
        self._settled.close()
        self._database.once_committed(self._settled.reopen)
        absorb(connection, self._catalogue_at(connection), readings)

    def _check(self, connection: sqlite3.Connection, readings: Readings) -> None:
        """Refuse what could never be read back; one wrong reading refuses the batch."""
        highest = self._catalogue_at(connection).size - 1
        refuse_impossible(readings, highest, END_OF_TIME_MS)


def _last_chapters(connection: sqlite3.Connection) -> Readings:
    """Of each series the last chapter, and the last that holds a reading that is not bad."""
    shelf = Shelf.of(
        connection.execute(
            "SELECT key, readings FROM chapter WHERE key IN ("
            " SELECT (SELECT max(key) FROM chapter WHERE key BETWEEN id << ?1 AND (id << ?1) + ?2)"
            " FROM series UNION ALL"
            " SELECT (SELECT max(key) FROM rollup WHERE key BETWEEN id << ?1 AND (id << ?1) + ?2)"
            " FROM series) ORDER BY key",
            (HOUR_BITS, HOUR_MASK),
        ).fetchall()
    )
    series = np.repeat(shelf.key >> HOUR_BITS, shelf.count)
    return Readings(series, shelf.at_ms, shelf.value, shelf.reason)


def _together(one: Readings, other: Readings) -> Readings:
    return Readings(
        np.concatenate((one.series, other.series)),
        np.concatenate((one.at_ms, other.at_ms)),
        np.concatenate((one.value, other.value)),
        np.concatenate((one.reason, other.reason)),
    )
