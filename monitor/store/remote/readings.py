"""Readings at a server, with the promises of the port (see ``ReadingStore``).

Servers keep the last of two readings of one time, or both; the port promises the first. So before
anything is sent, what is not later than all that is known of its series is looked up at the server,
and what is there already is left out. That is sound as long as a series has one writer
(docs/scaling.md), and costs nothing in the usual case, where every reading is later.

Appending, flushing, tidying and expiring are the writer's; reading is open to every thread.
"""

import sqlite3
import sys
import time
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.errors import StoreError, StoreUnavailable
from monitor.quality import Reason
from monitor.quantities import MEASURED
from monitor.store.buckets import HOUR_S, Tally, bucketed, raw, usable, widened, width_for
from monitor.store.derived import derived, inputs
from monitor.store.newest import Newest
from monitor.store.readings import (
    Buckets,
    Latest,
    Readings,
    SeriesKey,
    Track,
    refuse_impossible,
)
from monitor.store.remote import lines, spool
from monitor.store.remote.engine import FIRST_MS, LAST_MS, Engine
from monitor.store.remote.repeats import are_there, first_of_each
from monitor.store.sqlite import catalogue
from monitor.store.sqlite.database import Database
from monitor.times import HOUR_MS, SECOND_MS

HIDDEN_S = 3.0
"""A server may take this long until what it has accepted is found by questions."""
SAFE_AFTER_S = 30.0
"""After so long without a restart, what a server has accepted is on its disk: VictoriaMetrics 1.79
kept everything older than 10 s when it was killed."""
LOOK_EVERY_S = 5.0
"""So often the server is asked whether it was restarted."""
LINES_AT_ONCE = 10_000
DRAWN_BY_SERVER = 20_000
"""With more buckets than this the readings are fetched and added up here."""
EXPIRE_AT_ONCE_S, EXPIRE_A_TURN_S = 2.0, 0.2
"""Readings are forgotten in the thread that takes new ones, which must not wait for long."""
FORGOTTEN = "forgotten_before"
NOTHING = Track(np.empty(0, np.int64), np.empty(0), np.empty(0, np.uint8))


@dataclass(slots=True)
class _Batch:
    """A batch of the spool; ``readings`` are in memory until questions to the server find them."""

    id: int
    readings: Readings | None
    sent_at: float | None = None


class RemoteReadings:
    """Readings in an engine that is a server of its own; ids and the spool are in SQLite."""

    def __init__(self, database: Database, engine: Engine) -> None:
        self._database = database
        self._engine = engine
        self._batches: deque[_Batch] = deque()
        self._newest: Newest | None = None
        self._heads: dict[int, str] = {}
        self._run = ""
        self._look_due = 0.0
        self._safe_upto = 0
        with database.reading() as connection:
            self._catalogue = catalogue.load(connection)
            row = connection.execute(
                "SELECT value FROM meta WHERE key = ?", (FORGOTTEN,)
            ).fetchone()
        self._forgotten_ms = int(row[0]) if row else 0
        self._closed_ms = self._forgotten_ms
        """No reading from before this time is taken any more."""
        self._expiry: Iterator[int] | None = None

    # -- series ----------------------------------------------------------------------------------

    def series_ids(self, keys: Sequence[SeriesKey]) -> list[int]:
        """Ids of measured series, in the order asked, making those that are new."""
        known = self._catalogue.measured
        if all(key in known for key in keys):
            return [known[key] for key in keys]
        for key in keys:
            lines.check(key)
            if key.quantity not in MEASURED:
                raise StoreError(f"{key.quantity}: derived, never stored; store what was measured")
        with self._database.transaction() as connection:
            ids = catalogue.add(connection, keys)
            self._database.once_committed(self._look_up_series)
            return ids

    def known_series(self) -> Mapping[SeriesKey, int]:
        """All measured series that exist."""
        self._look_up_series()
        return self._catalogue.measured

    def _look_up_series(self) -> None:
        with self._database.reading() as connection:
            (highest,) = connection.execute("SELECT coalesce(max(id), 0) FROM series").fetchone()
            if highest >= self._catalogue.size:
                self._catalogue = catalogue.load(connection)

    def _head_of(self, series: int) -> str:
        head = self._heads.get(series)
        if head is None:
            self._heads |= {
                each: lines.tags(self._engine.measurement, key)
                for key, each in self.known_series().items()
            }
            head = self._heads[series]
        return head

    # -- writing ---------------------------------------------------------------------------------

    def append(self, readings: Readings) -> None:
        """Put readings into the spool; ``flush`` sends them."""
        if not len(readings):
            return
        self._begun()
        with self._database.transaction() as connection:
            self._check(connection, readings)
            spool.drop(connection, self._safe_upto)
            batch_id = spool.put(connection, readings)
            batch = _Batch(batch_id, readings)
            self._database.once_committed(lambda: self._batches.append(batch))

    def flush(self) -> None:
        """Send what is committed here and not yet at the server."""
        newest = self._begun()
        now = time.monotonic()
        for batch in self._batches:
            if batch.sent_at is None:
                self._send(batch, newest)
            elif now - batch.sent_at > HIDDEN_S:
                batch.readings = None
        if self._engine.safe_at_once:
            self._let_go(len(self._batches))

    def backfill(self, readings: Readings) -> None:
        """Send many old readings straight to the server."""
        with self._database.reading() as connection:
            self._check(connection, readings)
        newest = self._newest or Newest()
        self._write(self._unknown(readings, newest, ()))
        if self._newest is not None:
            self._note(readings, newest)

    def tidy(self, now_ms: int) -> None:
        """Send what is left over, and find out whether the server has lost anything."""
        del now_ms
        self.flush()
        self._expire_for(EXPIRE_A_TURN_S)
        now = time.monotonic()
        if self._engine.safe_at_once or now < self._look_due:
            return
        run = self._engine.run()
        self._look_due = now + LOOK_EVERY_S
        if run != self._run:
            self._run = run
            for batch in self._batches:
                batch.sent_at = None
            self.flush()
        old = [b.sent_at is not None and now - b.sent_at >= SAFE_AFTER_S for b in self._batches]
        self._let_go(old.index(False) if False in old else len(old))

    def expire(self, before_ms: int) -> int:
        """Forget raw readings older than ``before_ms``, by whole hours; how many went so far.

        In a large house the rest follows bit by bit, as it is tidied.
        """
        before_ms = min(before_ms, LAST_MS) // HOUR_MS * HOUR_MS
        if self._expiry is None:
            if before_ms <= self._forgotten_ms:
                return 0
            self.flush()
            self._expiry = self._expiring(before_ms)
        return self._expire_for(EXPIRE_AT_ONCE_S)

    def _expire_for(self, seconds: float) -> int:
        """Go on forgetting for a while."""
        until, went = time.monotonic() + seconds, 0
        expiry, self._expiry = self._expiry, None  # given up if the server fails: begun anew later
        for each in expiry or ():
            went += each
            if time.monotonic() >= until:
                self._expiry = expiry
                break
        return went

    def _expiring(self, before_ms: int) -> Iterator[int]:
        """Forget, a probe at a time.

        In this order: whatever ends it, it can be begun anew, and nothing is added up twice.
        """
        self._closed_ms = before_ms
        probes: dict[tuple[str, str], list[SeriesKey]] = {}
        for key in self.known_series():
            probes.setdefault((key.place, key.probe), []).append(key)
        for keys in probes.values():
            yield self._engine.roll_up(keys, self._forgotten_ms, before_ms)
        with self._database.transaction() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)",
                (FORGOTTEN, str(before_ms).encode()),
            )
        self._forgotten_ms = before_ms
        for keys in probes.values():
            self._engine.forget(keys, before_ms)
            yield 0

    # -- reading ---------------------------------------------------------------------------------

    def latest(self) -> Mapping[int, Latest]:
        """The newest reading of every series that is not bad, by series id."""
        return self._begun().view()

    def refresh(self) -> None:
        """Nothing: but for the newest readings, every question is asked of the server."""

    def track(self, key: SeriesKey, start_ms: int, end_ms: int) -> Track:
        """All readings of a measured or derived series with ``start_ms <= at < end_ms``."""
        start_ms, end_ms = max(start_ms, self._forgotten_ms), min(end_ms, LAST_MS)
        sources = (key,) if key.quantity in MEASURED else inputs(key)
        found: Mapping[SeriesKey, Track] = {}
        if end_ms > start_ms:
            found = self._engine.tracks(sources, start_ms, end_ms)
        tracks = [found.get(source, NOTHING) for source in sources]
        return tracks[0] if key.quantity in MEASURED else derived(key.quantity, *tracks)

    def buckets(self, key: SeriesKey, start_ms: int, end_ms: int, points: int) -> Buckets:
        """The series from start to end in at most ``points`` buckets, or raw if that few readings.

        Where single readings are forgotten, no bucket is narrower than an hour.
        """
        start_ms, end_ms = max(start_ms, FIRST_MS), min(end_ms, LAST_MS)
        if start_ms < self._forgotten_ms:
            remembered = self._remembered(key, start_ms, end_ms, points)
            if remembered is not None:
                return remembered
        width_s = width_for(start_ms, end_ms, points)
        first_ms, last_ms = widened(start_ms, end_ms, width_s)
        if key.quantity not in MEASURED or points > DRAWN_BY_SERVER:
            whole = usable(self.track(key, first_ms, last_ms))
            track = whole.between(start_ms, end_ms)
            return raw(track) if len(track) <= points else bucketed(whole, width_s)
        tally = self._tally(key, first_ms, last_ms, width_s)
        # The buckets at the ends may hold readings that were not asked for.
        if tally.count[1:-1].sum() <= points:
            track = usable(self.track(key, start_ms, end_ms))
            if len(track) <= points:
                return raw(track)
        return tally.drawn(width_s)

    def many(
        self, keys: Iterable[SeriesKey], start_ms: int, end_ms: int, width_s: int
    ) -> Mapping[SeriesKey, Buckets]:
        """Measured series in buckets of one width, which divides an hour (see ``store.many``)."""
        wanted = list(keys)
        if not wanted:
            return {}
        first_ms, last_ms = widened(max(start_ms, self._forgotten_ms), end_ms, width_s)
        found = self._engine.tallies(wanted, first_ms, min(last_ms, LAST_MS), width_s)
        return {key: tally.drawn(width_s) for key, tally in found.items()}

    def _tally(self, key: SeriesKey, start_ms: int, end_ms: int, width_s: int) -> Tally:
        return self._engine.tallies([key], start_ms, end_ms, width_s).get(key, Tally.nothing())

    def _remembered(
        self, key: SeriesKey, start_ms: int, end_ms: int, points: int
    ) -> Buckets | None:
        """Buckets of whole hours, if any of the readings are forgotten."""
        width_s = width_for(start_ms, end_ms, points, HOUR_S)
        first_ms, last_ms = widened(start_ms, end_ms, width_s)
        cut_ms = min(self._forgotten_ms, last_ms)
        old = self._engine.forgotten(key, first_ms, cut_ms, width_s)
        if not len(old.slot):
            return None
        if key.quantity in MEASURED:
            recent = self._tally(key, cut_ms, last_ms, width_s)
        else:
            track = usable(self.track(key, cut_ms, last_ms))
            recent = Tally.of(track.at_ms // (width_s * SECOND_MS), track.value)
        return Tally.joined([old, recent]).drawn(width_s)

    # -- inside ----------------------------------------------------------------------------------

    def _begun(self) -> Newest:
        """The writer's memory, filled from the server and the spool when it is first needed."""
        if self._newest is None:
            known = self.known_series()
            run = "" if self._engine.safe_at_once else self._engine.run()
            newest = Newest()
            for key, track in self._engine.newest(list(known)).items():
                newest.note(_of_series(known[key], track))
            with self._database.reading() as connection:
                self._batches.extend(_Batch(each, None) for each in spool.ids(connection))
            self._run, self._newest = run, newest
            self.flush()
        return self._newest

    def _send(self, batch: _Batch, newest: Newest) -> None:
        if batch.readings is None:
            with self._database.reading() as connection:
                batch.readings = spool.get(connection, batch.id)
        if batch.readings is not None:
            self._write(self._unknown(batch.readings, newest, self._lately(batch.id)))
            batch.sent_at = time.monotonic()
            self._note(batch.readings, newest)

    def _lately(self, before_id: int = sys.maxsize) -> list[Readings]:
        """What was sent so lately that the server may not find it, in the order of arrival."""
        return [
            batch.readings
            for batch in self._batches
            if batch.id < before_id and batch.readings is not None
        ]

    def _let_go(self, count: int) -> None:
        """The first batches are safe at the server."""
        for _ in range(count):
            self._safe_upto = self._batches.popleft().id

    def _write(self, readings: Readings) -> None:
        for first in range(0, len(readings), LINES_AT_ONCE):
            part = readings.part(slice(first, first + LINES_AT_ONCE))
            heads = {each: self._head_of(each) for each in set(part.series.tolist())}
            try:
                self._engine.write(lines.encode(part, heads))
            except StoreUnavailable:
                self._run = ""  # it may have been started anew, however short ago
                raise

    def _unknown(self, readings: Readings, newest: Newest, before: Sequence[Readings]) -> Readings:
        """What the server does not have yet, each time once."""
        readings = first_of_each(readings)
        readings = readings.part(readings.at_ms >= self._closed_ms)
        late = np.flatnonzero(~newest.is_later(readings))
        if not len(late):
            return readings
        known = np.zeros(len(readings), np.bool_)
        known[late] = are_there(self._engine, self._keys(), readings.part(late), before)
        return readings.part(~known)

    def _keys(self) -> dict[int, SeriesKey]:
        return {series: key for key, series in self.known_series().items()}

    def _note(self, readings: Readings, newest: Newest) -> None:
        """Bring the newest up to date; where that takes more than these readings, look it up."""
        doubts = newest.note(readings)
        if not doubts:
            return
        key_of = self._keys()
        for series, after_ms, upto_ms in doubts:
            track = self.track(key_of[series], after_ms + 1, upto_ms + 1)
            lately = [each.part(each.series == series) for each in self._lately()]
            at_ms = np.concatenate((track.at_ms, *(each.at_ms for each in lately)))
            value = np.concatenate((track.value, *(each.value for each in lately)))
            reason = np.concatenate((track.reason, *(each.reason for each in lately)))
            at_ms, first = np.unique(at_ms, return_index=True)
            whole = Track(at_ms, value[first], reason[first]).between(after_ms + 1, upto_ms + 1)
            if len(good := usable(whole)):
                last = Reason(int(good.reason[-1]))
                newest.settle(series, Latest(int(good.at_ms[-1]), float(good.value[-1]), last))

    def _check(self, connection: sqlite3.Connection, readings: Readings) -> None:
        """Refuse what could never be read back; one wrong reading refuses the batch."""
        (highest,) = connection.execute("SELECT coalesce(max(id), 0) FROM series").fetchone()
        refuse_impossible(readings, highest, LAST_MS)


def _of_series(series: int, track: Track) -> Readings:
    return Readings(np.full(len(track), series), track.at_ms, track.value, track.reason)
