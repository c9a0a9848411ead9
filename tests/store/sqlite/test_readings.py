"""What only the embedded engine promises: transactions, tidying, other processes, the file."""

import itertools
import struct
import threading
from collections.abc import Callable

import numpy as np
import pytest

from monitor.errors import StoreError, StoreUnavailable
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.store.readings import Buckets, Readings, SeriesKey
from monitor.store.sqlite import log
from monitor.store.sqlite import readings as readings_module
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS
from tests.store.engines import START_MS, Engine, Probe


@pytest.fixture
def probe(sqlite_store: SqliteReadings) -> Probe:
    """A probe on the embedded engine only."""
    return Probe(Engine(sqlite_store))


def rows(database: Database, table: str) -> int:
    """How many rows a table has."""
    with database.reading() as connection:
        (count,) = connection.execute(f"SELECT count(*) FROM {table}").fetchone()  # noqa: S608
        return int(count)


def assert_same(one: Buckets, other: Buckets) -> None:
    """Two sets of buckets are equal."""
    assert one.resolution_s == other.resolution_s
    assert one.at_ms.tolist() == other.at_ms.tolist()
    assert one.count.tolist() == other.count.tolist()
    assert one.low.tolist() == other.low.tolist()
    assert one.high.tolist() == other.high.tolist()
    np.testing.assert_allclose(one.mean, other.mean, rtol=1e-12)


class TestTransactions:
    """Readings commit with what they belong to."""

    def test_a_rolled_back_batch_was_never_there(self, probe: Probe, database: Database) -> None:
        """Neither its readings, nor its series, nor a latest value outlive the rollback."""

        def fail() -> None:
            with database.transaction():
                probe.keep(0, 20.0)
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            fail()

        assert probe.key() not in probe.store.known_series()
        assert probe.store.latest() == {}
        assert len(probe.track(0, 1)) == 0
        probe.keep(0, 21.0)
        assert probe.latest() == (START_MS, 21.0, Reason.OK)

    def test_a_batch_shows_when_its_transaction_commits(
        self, probe: Probe, database: Database
    ) -> None:
        """Series made and readings appended inside a transaction are seen after it, by all."""
        with database.transaction():
            probe.keep(0, 20.0)
            assert len(probe.track(0, 1)) == 0
            assert probe.store.latest() == {}

        assert probe.track(0, 1).value.tolist() == [20.0]
        assert probe.latest() == (START_MS, 20.0, Reason.OK)

    def test_a_full_disk_keeps_the_log(self, probe: Probe, database: Database) -> None:
        """Tidying that finds no room changes nothing, and succeeds once there is some."""
        at = np.arange(0, 30 * DAY_MS, HOUR_MS)
        probe.keep(at, np.random.default_rng(1).normal(20, 1, len(at)))
        (pages,) = database.writer.execute("PRAGMA page_count").fetchone()
        database.writer.execute(f"PRAGMA max_page_count = {pages}")

        with pytest.raises(StoreUnavailable, match="full"):
            probe.tidy(31 * DAY_MS)
        assert (rows(database, "chapter"), len(probe.track(0, 31 * DAY_MS))) == (0, len(at))
        database.writer.execute(f"PRAGMA max_page_count = {10 * pages}")
        probe.tidy(31 * DAY_MS)

        assert (rows(database, "log"), len(probe.track(0, 31 * DAY_MS))) == (0, len(at))


class TestTidying:
    """From the log into chapters."""

    def test_an_hour_is_written_once_it_is_over(self, probe: Probe, database: Database) -> None:
        """Hours that are over become chapters, the running one stays in the log."""
        probe.keep(np.arange(0, 3 * HOUR_MS, MINUTE_MS), 20.0)

        probe.tidy(2 * HOUR_MS + 4 * MINUTE_MS)
        before = rows(database, "chapter")
        probe.tidy(2 * HOUR_MS + 6 * MINUTE_MS)

        assert before == 1, "the second hour may still be arriving"
        assert rows(database, "chapter") == 2
        with database.reading() as connection:
            assert log.size(connection) == (1, 60)

    def test_a_long_log_is_tidied_at_once(
        self, probe: Probe, database: Database, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """So many readings that reads would grow slow are moved without waiting for the hour."""
        monkeypatch.setattr(readings_module, "LOG_READINGS", 30)
        probe.tidy(0)
        probe.keep(np.arange(29) * 1000, 20.0)
        probe.tidy(0)
        before = rows(database, "chapter")

        probe.keep(29_000, 20.0)
        probe.tidy(0)

        assert before == 0
        assert (rows(database, "chapter"), rows(database, "log")) == (1, 0)

    def test_a_large_house_is_tidied_in_steps(
        self,
        sqlite_store: SqliteReadings,
        database: Database,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        """Each call moves some series, so that no stall grows with the house; all get their turn.

        Readings that arrive meanwhile wait for the next hour; in between everything can be read.
        """
        monkeypatch.setattr(readings_module, "SERIES_AT_ONCE", 2)
        house = [Probe(Engine(sqlite_store)) for _ in range(5)]
        for each in house:
            each.keep([0, 1000], 20.0)

        chapters = []
        for _ in range(4):
            sqlite_store.tidy(START_MS + DAY_MS)
            chapters.append(rows(database, "chapter"))
            house[0].keep(2000 + len(chapters), 21.0)
            assert [len(each.track(0, 2000)) for each in house] == 5 * [2]

        assert chapters == [2, 4, 5, 5]
        with database.reading() as connection:
            assert log.size(connection)[1] == 4

    def test_many_small_commits_are_folded(
        self, probe: Probe, database: Database, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Rows are joined behind the last large one, so that the first kept still wins."""
        monkeypatch.setattr(readings_module, "LOG_ROWS", 5)
        monkeypatch.setattr(log, "SMALL", 50 * log.RECORD.itemsize)
        probe.tidy(0)
        probe.keep(7, 1.0)
        probe.keep(np.arange(50), 2.0)
        for n in range(5):
            probe.keep([n, 7, 100 + n], 3.0)

        probe.tidy(0)

        assert rows(database, "log") == 3
        assert sorted(probe.track(0, 200).value.tolist()) == [1.0] + 49 * [2.0] + 5 * [3.0]
        assert probe.track(7, 8).value.tolist() == [1.0]

    def test_the_log_can_be_read_by_the_book(self, probe: Probe, database: Database) -> None:
        """The page on storage tells how to recover what is not tidied yet."""
        probe.keep([0, 1000], [20.5, 21.0], [0, Reason.STEP])
        with database.reading() as connection:
            ((batch,),) = connection.execute("SELECT batch FROM log").fetchall()

        records = list(struct.iter_unpack("<qidB", batch))

        series = probe.series()
        assert records == [(START_MS, series, 20.5, 0), (START_MS + 1000, series, 21.0, 1)]

    def test_nothing_to_do_writes_nothing(self, probe: Probe, database: Database) -> None:
        """A second tidying of the same hour leaves the file alone."""
        probe.keep(np.arange(0, HOUR_MS, MINUTE_MS), 20.0)
        probe.tidy(DAY_MS)
        before = database.writer.total_changes

        probe.tidy(DAY_MS)
        probe.tidy(3 * DAY_MS)

        assert database.writer.total_changes == before

    def test_repeats_do_not_rewrite_chapters(self, probe: Probe, database: Database) -> None:
        """A redelivery of readings that are tidied already writes no chapter again."""
        at = np.arange(0, HOUR_MS, MINUTE_MS)
        probe.keep(at, 20.0)
        probe.tidy(DAY_MS)
        database.writer.execute(
            "CREATE TEMP TRIGGER guard BEFORE INSERT ON main.chapter "
            "BEGIN SELECT RAISE(FAIL, 'a chapter was written'); END"
        )

        probe.keep(at, 30.0)
        probe.tidy(2 * DAY_MS)

        assert rows(database, "log") == 0
        assert set(probe.track(0, HOUR_MS).value.tolist()) == {20.0}

    def test_the_log_file_is_emptied(self, probe: Probe, database: Database) -> None:
        """After tidying, the write-ahead log takes no space."""
        probe.keep(np.arange(0, HOUR_MS, 1000), 20.0)

        probe.tidy(DAY_MS)

        assert database.path.with_name("dewkeep.db-wal").stat().st_size == 0

    def test_a_message_costs_little_flash(self, new_store: Callable[[], SqliteReadings]) -> None:
        """Two hundred probes, ten messages of two readings a commit: under 1 KB each is written."""
        store = new_store()
        database = store._database
        database.writer.execute("PRAGMA wal_autocheckpoint = 0")
        ids = np.array(
            store.series_ids(
                [
                    SeriesKey("house", f"probe-{n}", quantity)
                    for n in range(200)
                    for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
                ]
            )
        )
        wal = database.path.with_name(database.path.name + "-wal")
        before = wal.stat().st_size

        for commit in range(200):
            turn = np.arange(20 * commit, 20 * commit + 20)
            zeros = np.zeros(20, np.uint8)
            store.append(Readings(ids[turn % 400], START_MS + turn // 2 * 150, turn / 10, zeros))

        assert (wal.stat().st_size - before) / 2000 < 1024


class TestReading:
    """Reading while others write."""

    def test_readers_never_see_a_reading_twice_or_not_at_all(
        self, probe: Probe, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """While one thread appends and tidies, tracks and buckets of another only ever grow."""
        monkeypatch.setattr(readings_module, "LOG_READINGS", 40)
        monkeypatch.setattr(readings_module, "LOG_ROWS", 3)
        probe.series(Quantity.HUMIDITY)
        done = threading.Event()
        wrong: list[str] = []
        looks = itertools.count()

        def look() -> None:
            seen = 0
            while not done.is_set():
                track = probe.track(0, DAY_MS, Quantity.DEW_POINT)
                hourly = probe.buckets(0, DAY_MS, 24, Quantity.DEW_POINT)
                if len(np.unique(track.at_ms)) != len(track) or len(track) < seen:
                    wrong.append(f"track of {len(track)} after {seen}")
                if hourly.count.sum() < len(track):
                    wrong.append(f"buckets of {hourly.count.sum()} after {len(track)}")
                seen = len(track)
                next(looks)

        readers = [threading.Thread(target=look) for _ in range(2)]
        for reader in readers:
            reader.start()
        for minute in range(300):
            at = np.arange(minute * MINUTE_MS, (minute + 1) * MINUTE_MS, 10_000)
            probe.keep(at, 20.0)
            probe.keep(at, 50.0, quantity=Quantity.HUMIDITY)
            probe.tidy(minute * MINUTE_MS)
        done.set()
        for reader in readers:
            reader.join()

        assert wrong == []
        assert next(looks) > 10
        assert len(probe.track(0, DAY_MS, Quantity.DEW_POINT)) == 1800

    def test_a_damaged_chapter_is_named(self, probe: Probe, database: Database) -> None:
        """The error says which chapter; once it is removed the rest can be read again."""
        probe.keep([0, HOUR_MS], 20.0)
        probe.tidy(DAY_MS)
        with database.transaction() as connection:
            key, blob = connection.execute("SELECT min(key), readings FROM chapter").fetchone()
            connection.execute("UPDATE chapter SET readings = ? WHERE key = ?", (blob[:-3], key))

        with pytest.raises(StoreError, match=rf"chapter {key}: damaged.*storage\.md"):
            probe.track(0, DAY_MS)
        with database.transaction() as connection:
            connection.execute("DELETE FROM chapter WHERE key = ?", (key,))

        assert len(probe.track(0, DAY_MS)) == 1
        assert probe.buckets(0, DAY_MS, 24).count.tolist() == [1, 1]


class TestReopening:
    """What the file alone knows."""

    def test_everything_is_there_again(
        self, probe: Probe, new_store: Callable[[], SqliteReadings]
    ) -> None:
        """Series, tracks and latest values of log and chapters survive closing and opening."""
        probe.keep(np.arange(0, 2 * HOUR_MS, MINUTE_MS), 20.0)
        probe.keep(0, 50.0, quantity=Quantity.HUMIDITY)
        probe.tidy(HOUR_MS + 10 * MINUTE_MS)

        again = new_store()

        assert again.known_series() == probe.store.known_series()
        assert dict(again.latest()) == dict(probe.store.latest())
        assert len(again.track(probe.key(), START_MS, START_MS + DAY_MS)) == 120

    def test_latest_is_found_behind_bad_hours(
        self, probe: Probe, new_store: Callable[[], SqliteReadings]
    ) -> None:
        """A probe that has sent nonsense for a day still has the last value before that."""
        probe.keep([0, 1000], [20.0, 21.0])
        probe.keep(np.arange(HOUR_MS, DAY_MS, MINUTE_MS), 200.0, Reason.LIMIT)
        probe.tidy(2 * DAY_MS)
        again = Probe(Engine(new_store()))
        again._key = probe.key()

        before = again.latest()
        again.keep(DAY_MS - MINUTE_MS, 22.0)
        repeated = again.latest()
        again.keep(2000, 23.0)

        assert before == repeated == (START_MS + 1000, 21.0, Reason.OK)
        assert again.latest() == (START_MS + 2000, 23.0, Reason.OK)

    def test_another_process_is_noticed(
        self, probe: Probe, new_store: Callable[[], SqliteReadings]
    ) -> None:
        """Series and readings that an import adds are seen; its tidying doubles nothing."""
        other = Probe(Engine(new_store()))
        probe.keep([0, 1000], 20.0)

        other.keep([2000, 3000], 30.0)
        other.tidy(DAY_MS)
        theirs = other.series()
        stale = theirs in probe.store.latest()
        track = probe.store.track(other.key(), START_MS, START_MS + DAY_MS)
        probe.tidy(DAY_MS)

        assert not stale
        assert track.value.tolist() == [30.0, 30.0]
        assert probe.store.latest()[theirs] == (START_MS + 3000, 30.0, Reason.OK)
        assert len(probe.track(0, DAY_MS)) == 2


class TestImport:
    """Many old readings at once."""

    def test_an_import_is_like_appending(
        self, sqlite_store: SqliteReadings, database: Database
    ) -> None:
        """The same readings, imported or appended and tidied, give the same tracks and buckets."""
        imported, appended = Probe(Engine(sqlite_store)), Probe(Engine(sqlite_store))
        random = np.random.default_rng(5)
        at = random.integers(0, 40 * HOUR_MS, 3000)
        for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY):
            value, reason = random.normal(50, 9, 3000), random.choice([0, 1, 16], 3000)
            sqlite_store.backfill(imported.readings(at, value, reason, quantity))
            appended.keep(at, value, reason, quantity)
        assert rows(database, "log") > 0
        appended.tidy(3 * DAY_MS)

        for quantity in (Quantity.TEMPERATURE, Quantity.DEW_POINT):
            one, other = (each.track(0, 2 * DAY_MS, quantity) for each in (imported, appended))
            assert one.at_ms.tobytes() == other.at_ms.tobytes()
            assert one.value.tobytes() == other.value.tobytes()
            assert one.reason.tobytes() == other.reason.tobytes()
            for points in (10, 100):
                assert_same(
                    imported.buckets(0, 2 * DAY_MS, points, quantity),
                    appended.buckets(0, 2 * DAY_MS, points, quantity),
                )
        assert imported.latest() == appended.latest()

    def test_an_import_does_not_replace_what_was_kept(
        self, probe: Probe, sqlite_store: SqliteReadings
    ) -> None:
        """A reading still in the log was there first, although the import goes past the log."""
        probe.keep(0, 20.0)

        sqlite_store.backfill(probe.readings([0, 1000], 99.0))

        assert probe.track(0, DAY_MS).value.tolist() == [20.0, 99.0]

    def test_nonsense_is_refused(self, probe: Probe, sqlite_store: SqliteReadings) -> None:
        """Values that are no number and times before 1970 or beyond the calendar are refused."""
        with pytest.raises(StoreError, match="finite"):
            sqlite_store.backfill(probe.readings(0, float("nan")))
        for at in (-START_MS - 1, 10**17):
            with pytest.raises(StoreError, match="no time of this era"):
                sqlite_store.backfill(probe.readings(at, 20.0))


class TestForgetting:
    """Old readings go, what they add up to stays."""

    @pytest.fixture
    def forgetful(self, probe: Probe) -> Probe:
        """A probe with two days of readings of which the first was forgotten."""
        at = np.arange(0, 2 * DAY_MS, MINUTE_MS)
        probe.keep(at, at / DAY_MS)
        probe.keep(at, 50.0, quantity=Quantity.HUMIDITY)
        probe.store.expire(START_MS + DAY_MS + MINUTE_MS)
        return probe

    @pytest.mark.parametrize("quantity", [Quantity.TEMPERATURE, Quantity.DEW_POINT])
    def test_long_range_buckets_stay(self, forgetful: Probe, quantity: Quantity) -> None:
        """Forgotten or not, each day still counts all its readings."""
        daily = forgetful.buckets(0, 2 * DAY_MS, 2, quantity)

        assert daily.count.tolist() == [1440, 1440]
        assert len(forgetful.track(0, 2 * DAY_MS, quantity)) == 1440

    @pytest.mark.parametrize("points", [24, 1000, 5000])
    def test_forgotten_hours_are_drawn_by_the_hour(self, forgetful: Probe, points: int) -> None:
        """However fine a picture is asked for, what is left of a forgotten day is shown."""
        day = forgetful.buckets(0, DAY_MS, points)

        assert day.resolution_s == 3600
        assert day.count.tolist() == 24 * [60]

    def test_remembered_hours_are_drawn_finely(self, forgetful: Probe) -> None:
        """The day that was kept is as fine as ever."""
        assert forgetful.buckets(DAY_MS, 2 * DAY_MS, 5000).resolution_s == 0

    def test_a_late_reading_does_not_spoil_a_forgotten_hour(self, forgetful: Probe) -> None:
        """It cannot be told from a repeat, so it is dropped and the rollup stands."""
        forgetful.keep(30_500, 99.0)
        before = forgetful.buckets(0, 2 * DAY_MS, 2)
        forgetful.tidy(3 * DAY_MS)
        after = forgetful.buckets(0, 2 * DAY_MS, 2)

        assert before.count.tolist() == after.count.tolist() == [1440, 1440]
        assert before.high.max() == after.high.max() < 2.0
        assert len(forgetful.track(0, DAY_MS)) == 0

    def test_readings_in_the_log_are_forgotten_too(self, probe: Probe) -> None:
        """Also readings that were never tidied count and go."""
        probe.keep([0, HOUR_MS], 20.0)

        assert probe.store.expire(START_MS + HOUR_MS) == 1
        assert probe.track(0, DAY_MS).at_ms.tolist() == [START_MS + HOUR_MS]
        assert probe.buckets(0, DAY_MS, 24).count.tolist() == [1, 1]
