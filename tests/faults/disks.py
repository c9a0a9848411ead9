"""The disk and the file on it: full, read-only, cut short, damaged."""

import datetime as dt
import re
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from tests.faults.scale import Scale, Skipped
from tests.faults.scene import Scene, Story, ready_says
from tests.faults.tally import Tally
from tests.support.daemon import RunningDaemon
from tests.support.waiting import eventually

Spoil = Callable[[bytes], bytes]
Dress = Callable[[RunningDaemon], None]


def full(folder: Path, scale: Scale) -> Tally:
    """No room left for the database, and then there is."""
    with mounted(folder / "disk", "tmpfs", "tmpfs", "-o", "size=8m") as disk:
        scene = Scene(folder, Story.until(time.time(), scale.of(3, 6)), dress=keep_on(disk))
        scene.database = disk / "dewkeep.db"
        ballast = disk / "ballast"
        with scene.stream(scale.of(8, 40)):
            time.sleep(1)
            fill(ballast)
            eventually(
                lambda: "full" in ready_says(scene.daemon)["store"]["says"], "the full disk is told"
            )
            time.sleep(scale.of(2, 20))
            ballast.unlink()
        scene.settle()
        return scene.account("disk full, and room again", "`/readyz` says so; held at the broker")


def read_only(folder: Path, scale: Scale) -> Tally:
    """A file system that was remounted read-only, as after an error of the disk."""
    with mounted(folder / "disk", "tmpfs", "tmpfs", "-o", "size=32m") as disk:
        scene = Scene(folder, Story.until(time.time(), scale.of(2, 6)), dress=keep_on(disk))
        scene.database = disk / "dewkeep.db"
        with scene.stream(1.5, (0.0, 0.5)):
            pass
        scene.settle(upto=0.5)
        scene.daemon.stop()
        _mount("-o", "remount,ro", str(disk))
        with scene.stream(1.5, (0.5, 1.0)):
            pass
        says = refused(scene.daemon)
        assert "cannot be opened for writing" in says, says
        _mount("-o", "remount,rw", str(disk))
        scene.daemon.start()
        scene.settle()
        return scene.account(
            "file system read-only at the start", "refused in one line, exit code 2"
        )


def truncated(folder: Path, scale: Scale) -> Tally:
    """The file ends in the middle."""
    return _damaged(folder, scale, "database file cut to half", lambda data: data[: len(data) // 2])


def corrupted(folder: Path, scale: Scale) -> Tally:
    """Pages in the middle hold something else."""

    def spoil(data: bytes) -> bytes:
        pages = bytearray(data)
        for page in range(2, len(data) // 4096):
            pages[page * 4096 : page * 4096 + 2048] = b"\xa5" * 2048
        return bytes(pages)

    return _damaged(folder, scale, "every page but the first two overwritten", spoil)


def one_page(folder: Path, scale: Scale) -> Tally:
    """A page of last month's history holds something else; nobody looks at it at the start."""
    scene = Scene(folder, Story.until(time.time(), scale.of(2, 6)))
    old = folder / "old.csv"
    begin = int(time.time()) - 40 * 86_400
    old.write_text(
        "time,temperature\n"
        + "".join(f"{begin + 60 * n},{20 + n % 50 / 10}\n" for n in range(30_000))
    )
    run(scene.daemon, "import", str(old), "--probe", "e0/canopy")
    scene.daemon.stop()
    _spoil_leaf(scene.database)
    scene.daemon.start()
    scene.daemon.wait_ready()
    with scene.stream(2.0):
        pass
    scene.settle()
    month = {"from": dt.datetime.fromtimestamp(begin, dt.UTC).isoformat(), "points": "10000"}
    history = scene.daemon.http.get(
        "/api/v1/enclosures/e0/series",
        params={"probe": "canopy", "quantity": "temperature"} | month,
    )
    assert history.status_code >= 500, history.text[:200]
    assert ready_says(scene.daemon)["ready"]
    return scene.account(
        "one page of last month's history overwritten",
        "found when it is read (500, and the log names `dewkeep restore`); the watch goes on",
    )


def _spoil_leaf(file: Path) -> None:
    """Overwrite a page in the middle of the chapters' tree."""
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        try:
            leaves = connection.execute(
                "SELECT pageno FROM dbstat WHERE name = 'chapter' AND pagetype = 'leaf'"
                " ORDER BY path"
            ).fetchall()
        except sqlite3.OperationalError as exc:
            raise Skipped("this SQLite cannot tell which page is which (dbstat)") from exc
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    (page,) = leaves[len(leaves) // 2]
    with file.open("r+b") as pages:
        pages.seek((page - 1) * size)
        pages.write(b"\xa5" * size)


def _damaged(folder: Path, scale: Scale, fault: str, spoil: Spoil) -> Tally:
    scene = Scene(folder, Story.until(time.time(), scale.of(2, 6)))
    with scene.stream(1.5, (0.0, 0.5)):
        pass
    scene.settle(upto=0.5)
    backup = folder / "backup.db"
    run(scene.daemon, "backup", str(backup))
    scene.daemon.stop()
    damaged = spoil(scene.database.read_bytes())
    scene.database.write_bytes(damaged)
    with scene.stream(1.5, (0.5, 1.0)):
        pass
    says = refused(scene.daemon)
    assert "dewkeep restore" in says, says
    assert scene.database.read_bytes() == damaged, "the file was touched"
    run(scene.daemon, "restore", str(backup))
    scene.daemon.start()
    scene.settle()
    kept = list(folder.glob("dewkeep.db.replaced-*"))
    assert kept, "the damaged file is gone"
    return scene.account(
        fault, "refused, the file left as it was; back-up restored, the rest came from the broker"
    )


def refused(daemon: RunningDaemon) -> str:
    """What a daemon says that does not start."""
    done = subprocess.run(
        [*daemon.command, "serve", "--config", str(daemon.config)],
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 2, (done.returncode, done.stderr[-2000:])
    assert not re.search("Traceback", done.stderr), done.stderr
    return done.stderr


def run(daemon: RunningDaemon, *words: str) -> None:
    """A command of ours that works."""
    subprocess.run(
        [sys.executable, "-m", "monitor", *words, "--config", str(daemon.config)],
        check=True,
        capture_output=True,
    )


def keep_on(disk: Path) -> Dress:
    """Has a daemon keep its database there."""

    def dress(daemon: RunningDaemon) -> None:
        text = daemon.config.read_text()
        daemon.config.write_text(text.replace('"dewkeep.db"', f'"{disk}/dewkeep.db"'))

    return dress


def fill(ballast: Path) -> None:
    """Write until nothing more goes in."""
    with ballast.open("wb", buffering=0) as file:
        for size in (65_536, 4_096, 512):
            try:
                while file.write(b"\0" * size):
                    pass
            except OSError:
                continue


@contextmanager
def mounted(at: Path, *words: str) -> Iterator[Path]:
    """A file system of its own."""
    at.mkdir()
    try:
        _mount("-t", *words, str(at))
    except (OSError, subprocess.CalledProcessError) as exc:
        raise Skipped("no file system can be mounted here (it takes root)") from exc
    try:
        yield at
    finally:
        subprocess.run(["umount", "--lazy", str(at)], check=True, capture_output=True)


def _mount(*words: str) -> None:
    subprocess.run(["mount", *words], check=True, capture_output=True)
