"""Servers that die, refuse, hang or run full: nothing is lost, nothing is doubled."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from monitor.errors import StoreUnavailable
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.settings import StoreSettings
from monitor.store.engines import opened
from monitor.store.readings import Readings, ReadingStore, SeriesKey
from monitor.store.remote import readings as remote
from monitor.store.sqlite.database import Database
from monitor.times import DAY_MS, HOUR_MS
from tests.store.engines import START_MS
from tests.store.remote.conftest import Opener
from tests.support.engines import Influx, TimeSeriesServer, Victoria
from tests.support.waiting import eventually
from tests.support.weather import Mood, Weather

pytestmark = pytest.mark.slow

KEYS = [SeriesKey("cork-cube", f"p{n}", Quantity.HUMIDITY) for n in range(3)]


def batch(store: ReadingStore, number: int, value: float = 50.0) -> Readings:
    """Thirty readings of three probes; each batch follows the one before."""
    ids = store.series_ids(KEYS)
    at_ms = START_MS + 10_000 * number + 1000 * np.arange(10)
    return Readings(
        np.repeat(ids, 10), np.tile(at_ms, 3), np.full(30, value + number), np.zeros(30, np.uint8)
    )


def kept(store: ReadingStore, server: TimeSeriesServer) -> list[float]:
    """The values of the last probe, as the server has them."""
    server.show()
    values: list[float] = store.track(KEYS[-1], START_MS, START_MS + HOUR_MS).value.tolist()
    return values


def expected(batches: int) -> list[float]:
    """What the last probe sent."""
    return [50.0 + number for number in range(batches) for _ in range(10)]


def counted(store: ReadingStore, server: TimeSeriesServer) -> int:
    """How many readings of the last probe the server counts."""
    server.show()
    return int(store.buckets(KEYS[-1], START_MS, START_MS + DAY_MS, 1).count.sum())


@pytest.mark.parametrize("mood", [Mood.REFUSES, Mood.SWALLOWS, Mood.CUTS, Mood.HANGS])
def test_a_write_that_fails_is_sent_again(
    open_store: Opener, server: TimeSeriesServer, weather: Weather, mood: Mood
) -> None:
    """Whatever became of the first try: after the next, each reading is there once."""
    store = open_store()
    store.append(batch(store, 0))
    store.flush()
    weather.mood = mood
    store.append(batch(store, 1))
    for _ in range(2):
        with pytest.raises(StoreUnavailable, match=weather.url):
            store.flush()
    weather.mood = Mood.FAIR

    store.flush()

    assert kept(store, server) == expected(2)
    assert counted(store, server) == 20


@pytest.mark.parametrize("mood", [Mood.REFUSES, Mood.SWALLOWS, Mood.CUTS])
def test_what_was_committed_is_sent_after_a_restart(
    open_store: Opener, server: TimeSeriesServer, weather: Weather, mood: Mood
) -> None:
    """A process that ends between commit and sending leaves its readings to the next one."""
    store = open_store()
    store.append(batch(store, 0))
    store.flush()
    weather.mood = mood
    store.append(batch(store, 1))
    with pytest.raises(StoreUnavailable):
        store.flush()
    weather.mood = Mood.FAIR

    again = open_store()
    latest = again.latest()[again.series_ids(KEYS)[-1]]

    assert latest == (START_MS + 19_000, 51.0, Reason.OK)
    assert kept(again, server) == expected(2)
    assert counted(again, server) == 20


def test_a_redelivery_after_a_restart_changes_nothing(
    open_store: Opener, server: TimeSeriesServer
) -> None:
    """The broker sends again what was kept and not acknowledged; the first one stays."""
    store = open_store()
    store.append(batch(store, 0))
    store.flush()

    again = open_store()
    again.append(batch(again, 0, value=70.0))
    again.flush()

    assert kept(again, server) == expected(1)
    assert counted(again, server) == 10


def test_a_server_that_was_killed_has_everything_in_the_end(
    open_store: Opener, server: TimeSeriesServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also what it had accepted and lost: that is still in the spool."""
    monkeypatch.setattr(remote, "LOOK_EVERY_S", 0.0)
    store = open_store()
    for number in range(4):
        store.append(batch(store, number))
        store.flush()
    server.kill()
    store.append(batch(store, 4))
    with pytest.raises(StoreUnavailable):
        store.flush()
    server.revive()

    store.tidy(START_MS)

    assert kept(store, server) == expected(5)
    assert counted(store, server) == 50


def test_the_spool_empties(
    open_store: Opener,
    database: Database,
    server: TimeSeriesServer,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What is safe at the server does not pile up here."""
    monkeypatch.setattr(remote, "LOOK_EVERY_S", 0.0)
    monkeypatch.setattr(remote, "SAFE_AFTER_S", 0.0)
    store = open_store()
    for number in range(5):
        store.append(batch(store, number))
        store.flush()
        store.tidy(START_MS)

    with database.reading() as connection:
        (rows,) = connection.execute("SELECT count(*) FROM spool").fetchone()

    assert rows == 1
    assert kept(store, server) == expected(5)


def test_a_server_that_is_away_at_the_start_is_told(
    open_store: Opener, server: TimeSeriesServer
) -> None:
    """Without it nobody knows what was kept; the daemon says so and is started again."""
    server.kill()

    with pytest.raises(StoreUnavailable, match=r"127\.0\.0\.1"):
        open_store().append(batch(open_store(), 0))


@pytest.mark.parametrize("server", [Influx], indirect=True)
def test_a_bucket_that_does_not_exist_is_told(open_store: Opener, server: Influx) -> None:
    """By its name (VictoriaMetrics has no buckets to miss)."""
    server.query("DROP DATABASE dewkeep")
    store = open_store()

    with pytest.raises(StoreUnavailable, match="database not found: dewkeep"):
        store.latest()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 48 MB; needs the right to mount."""
    folder = tmp_path / "disk"
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=48m", "tmpfs", str(folder)],
        capture_output=True,
        check=False,
    )
    if done.returncode:
        pytest.skip(f"a small disk cannot be mounted here: {done.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.mark.parametrize("kind", [Influx, Victoria])
def test_a_full_disk_loses_nothing(
    tmp_path: Path,
    small_disk: Path,
    database: Database,
    kind: type[Influx] | type[Victoria],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """InfluxDB answers 500 until it is started anew, VictoriaMetrics ends: then all is there."""
    monkeypatch.setattr(remote, "LOOK_EVERY_S", 0.0)
    server = kind(tmp_path / "server", small_disk / "data").start()
    server.create("dewkeep")
    settings = StoreSettings(engine=server.engine, url=server.url)
    with closing(server), opened(settings, database) as store:
        store.append(batch(store, 0))
        store.flush()
        fill(small_disk / "filler")
        sent = [0]

        def is_full() -> bool:
            sent.append(len(sent))
            store.append(batch(store, sent[-1]))
            return not can_store(store)

        eventually(is_full, "the server noticing that its disk is full", every_s=0.5)
        (small_disk / "filler").unlink()
        server.kill()
        server.revive()
        eventually(lambda: can_store(store), "storing again", every_s=0.5)

        assert kept(store, server) == expected(len(sent))
        assert counted(store, server) == 10 * len(sent)


def fill(file: Path) -> None:
    """Write a file until the disk is full."""
    descriptor = os.open(file, os.O_CREAT | os.O_WRONLY)
    try:
        while True:
            os.write(descriptor, bytes(4096))
    except OSError:
        os.close(descriptor)


def can_store(store: ReadingStore) -> bool:
    """Whether everything can be sent now."""
    try:
        store.tidy(START_MS)
    except StoreUnavailable:
        return False
    return True
