"""What the embedded store costs and how fast it answers, beside a plain table of readings.

Run ``python -m tests.benchmarks.bench_store [--quick] [FOLDER]``; it prints a markdown table. The
plain table has one row per reading, clustered by series and time. It is filled with the same
readings and asked the same questions in the same run. Figures in docs/storage.md come from here.
"""

import argparse
import os
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np

from monitor.quantities import Quantity
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite import log
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.migrations import Migration
from monitor.store.sqlite.readings import SqliteReadings
from monitor.times import DAY_MS, HOUR_MS

START_MS = 1_788_220_800_000
PERIOD_MS = 30_000
PER_DAY = DAY_MS // PERIOD_MS
POINTS = 1_500


class Figure(NamedTuple):
    """A line of the table."""

    what: str
    ours: str
    plain: str = ""


def main() -> None:
    """Measure all and print the table."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--quick", action="store_true", help="a tenth of everything")
    arguments.add_argument("folder", nargs="?", type=Path, help="on the disk to be measured")
    options = arguments.parse_args()
    scale = 10 if options.quick else 1
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        figures = [*appending(folder, scale)]
        for probes in (200, 2_000):
            figures += running(folder / f"house-{probes}.db", House(probes), max(6 // scale, 2))
        figures += asking(folder, 365 * PER_DAY // scale)
    print("| | dewkeep | plain table |\n| --- | --- | --- |")
    for figure in figures:
        print(f"| {figure.what} | {figure.ours} | {figure.plain} |")


def appending(folder: Path, scale: int) -> Iterator[Figure]:
    """Commits of several sizes to a house of 200 probes that has a day of readings behind it."""
    house = House(200)
    database = Hoarding(folder / "append.db")
    store = SqliteReadings(database)
    store.series_ids(house.keys)
    plain = Plain(folder / "append-plain.db")
    day = house.messages(200 * PER_DAY // scale)
    store.backfill(day)
    plain.append(day)

    def commit(batch: Readings) -> None:
        with database.transaction():
            store.append(batch)

    for size, commits in ((10, 2_000), (50, 1_000), (2_000, 50)):
        batches = [house.messages(size) for _ in range(max(commits // scale, 5))]
        columns = []
        for path, keep in ((database.path, commit), (plain.path, plain.append)):
            before = _wal(path)
            os.sync()  # so that nobody pays for what was written before
            began = time.perf_counter()
            for batch in batches:
                keep(batch)
            rate = sum(map(len, batches)) / (time.perf_counter() - began)
            written = (_wal(path) - before) / size / len(batches)
            columns.append(f"{rate:,.0f}; {written:,.0f}")
        yield Figure(
            f"append, {size:,} messages of 2 readings a commit: readings/s; bytes written/message",
            *columns,
        )
    database.close()
    plain.close()


def running(path: Path, house: "House", hours: int) -> Iterator[Figure]:
    """A house through some hours, ten messages a commit, tidied after each as the daemon does.

    Behind it lie four days of one message an hour, so that every series has pages of its own.
    """
    past = House(house.probes, start_ms=START_MS - 4 * DAY_MS, period_ms=HOUR_MS)
    messages = hours * house.probes * HOUR_MS // PERIOD_MS
    for database in (Database(path), Hoarding(path.with_suffix(".hoarding.db"))):
        store = SqliteReadings(database)
        store.series_ids(house.keys)
        store.backfill(past.messages(house.probes * 96))
        before = _wal(database.path)
        stalls = []
        for _ in range(messages // 10):
            batch = house.messages(10)
            with database.transaction():
                store.append(batch)
            began = time.perf_counter()
            store.tidy(int(batch.at_ms[-1]))
            stalls.append(time.perf_counter() - began)
        what = f"{house.probes:,} probes, {hours} h, 10 messages a commit"
        if isinstance(database, Hoarding):
            written = (_wal(database.path) - before) / messages
            yield Figure(f"{what}, tidying included: bytes written/message", f"{written:,.0f}")
        else:
            with database.reading() as connection:
                _, logged = log.size(connection)
            per_reading = sum(stalls) / (2 * messages - logged) * 1e6
            yield Figure(
                f"{what}: tidying, us/reading; longest stall",
                f"{per_reading:.2f}; {_ms(max(stalls))}",
            )
        database.close()


def asking(folder: Path, count: int) -> Iterator[Figure]:
    """A year, a month and a day of one probe in at most 1,500 points, while a house is running."""
    house = House(1)
    database = Database(folder / "year.db")
    store = SqliteReadings(database)
    store.series_ids(house.keys)
    plain = Plain(folder / "plain.db")
    year = house.messages(count)
    columns = []
    for keep in (store.backfill, plain.append):
        began = time.perf_counter()
        for start in range(0, len(year), 500_000):
            keep(_slice(year, slice(start, start + 500_000)))
        columns.append(f"{(time.perf_counter() - began) / len(year) * 1e6:.2f}")
    yield Figure(f"import of {len(year):,} readings, us/reading", *columns)
    sizes = [f"{_size(each) / len(year):.1f}" for each in (database.writer, plain.connection)]
    yield Figure("bytes of file per reading (dewkeep: with rollups of 7 quantities)", *sizes)

    others = House(200, place="others", start_ms=int(year.at_ms[-1]) // HOUR_MS * HOUR_MS)
    ids = np.array([0, *store.series_ids(others.keys)])
    for _ in range(480):
        batch = others.messages(50)
        store.append(Readings(ids[batch.series], batch.at_ms, batch.value, batch.reason))

    temperature = house.keys[0]
    dew_point = temperature._replace(quantity=Quantity.DEW_POINT)
    end_ms = int(year.at_ms[-1]) + 1
    for name, span_ms in (("year", 365 * DAY_MS), ("month", 30 * DAY_MS), ("day", DAY_MS)):
        start_ms = max(end_ms - span_ms, START_MS)
        drawn = store.buckets(temperature, start_ms, end_ms, POINTS)
        yield Figure(
            f"{name} of temperature, {drawn.count.sum():,} readings in {len(drawn.count):,} "
            f"buckets of {drawn.resolution_s:,} s",
            _median_ms(partial(store.buckets, temperature, start_ms, end_ms, POINTS)),
            _median_ms(partial(plain.buckets, drawn.resolution_s, start_ms, end_ms)),
        )
        yield Figure(
            f"{name} of dew point, the same",
            _median_ms(partial(store.buckets, dew_point, start_ms, end_ms, POINTS)),
        )
    plain.close()
    database.close()


class House:
    """Probes that report temperature and humidity in turn, each at its own moment of a period."""

    def __init__(
        self,
        probes: int,
        place: str = "house",
        start_ms: int = START_MS,
        period_ms: int = PERIOD_MS,
    ) -> None:
        self.keys = [
            SeriesKey(place, f"probe-{n}", quantity)
            for n in range(probes)
            for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
        ]
        self.probes = probes
        self._start_ms = start_ms
        self._period_ms = period_ms
        self._next = 0
        self._random = np.random.default_rng(8420)

    def messages(self, number: int) -> Readings:
        """The next messages, of two readings each; series are numbered from 1 as in ``keys``."""
        turn = self._next + np.arange(number)
        self._next += number
        jitter = self._random.integers(0, 40, number)
        at_ms = self._start_ms + turn * self._period_ms // self.probes + jitter
        day = 2 * np.pi * at_ms / DAY_MS
        temperature = 24 + 3 * np.sin(day) + self._random.normal(0, 0.05, number)
        humidity = 70 - 12 * np.sin(day) + self._random.normal(0, 0.3, number)
        probe = turn % self.probes
        return Readings(
            np.stack((2 * probe + 1, 2 * probe + 2), axis=1).ravel(),
            np.repeat(at_ms, 2),
            np.round(np.stack((temperature, humidity), axis=1).ravel(), 2),
            np.zeros(2 * number, np.uint8),
        )


class Hoarding(Database):
    """Never empties the write-ahead log, so that its size tells all that was written."""

    def _prepare(self, migrations: tuple[Migration, ...]) -> None:
        super()._prepare(migrations)
        self.writer.execute("PRAGMA wal_autocheckpoint = 0")

    def checkpoint(self) -> None:
        """Not here."""


class Plain:
    """A table with one row per reading."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.connection = sqlite3.connect(path, isolation_level=None)
        self.connection.executescript(
            """
            PRAGMA journal_mode = WAL;
            PRAGMA synchronous = FULL;
            PRAGMA wal_autocheckpoint = 0;
            CREATE TABLE reading (
                series INTEGER, at_ms INTEGER, value REAL, reason INTEGER,
                PRIMARY KEY (series, at_ms)
            ) WITHOUT ROWID;
            """
        )

    def append(self, batch: Readings) -> None:
        """Commit a batch."""
        columns = (batch.series, batch.at_ms, batch.value, batch.reason)
        self.connection.execute("BEGIN IMMEDIATE")
        self.connection.executemany(
            "INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)",
            zip(*(column.tolist() for column in columns), strict=True),
        )
        self.connection.execute("COMMIT")

    def buckets(self, width_s: int, start_ms: int, end_ms: int) -> object:
        """Draw the first series small."""
        return self.connection.execute(
            "SELECT at_ms / ? AS bucket, avg(value), min(value), max(value), count(*) "
            "FROM reading WHERE series = 1 AND at_ms >= ? AND at_ms < ? AND reason < 16 "
            "GROUP BY bucket",
            (width_s * 1000, start_ms, end_ms),
        ).fetchall()

    def close(self) -> None:
        """Close the file."""
        self.connection.close()


def _slice(readings: Readings, part: slice) -> Readings:
    return Readings(
        readings.series[part], readings.at_ms[part], readings.value[part], readings.reason[part]
    )


def _wal(path: Path) -> int:
    return path.with_name(path.name + "-wal").stat().st_size


def _size(connection: sqlite3.Connection) -> int:
    (pages,) = connection.execute("PRAGMA page_count").fetchone()
    (size,) = connection.execute("PRAGMA page_size").fetchone()
    return int(pages * size)


def _median_ms(action: Callable[[], object], times: int = 15) -> str:
    took = []
    for _ in range(times):
        began = time.perf_counter()
        action()
        took.append(time.perf_counter() - began)
    return _ms(statistics.median(took))


def _ms(seconds: float) -> str:
    return f"{seconds * 1000:,.1f} ms"


if __name__ == "__main__":
    main()
