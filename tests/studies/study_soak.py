"""Runs a house for a simulated day, a hundred times as fast, and watches what it keeps.

    python -m tests.studies.study_soak [--hours H] [--speed X] [--probes N]

A day at 100x takes a quarter of an hour. The daemon runs as a process with a clock of its own that
goes a hundred times as fast; the devices publish by it. Memory and what it is made of, open files,
threads, the write-ahead log and the database are looked at all along. Writes docs/reliability.md if
it was a whole day, or four.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil

from tests.studies.inside import Inside
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.receiver import Receiver
from tests.support.record import record
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

PAGE = Path(__file__).parents[2] / "docs" / "reliability.md"
PERIOD_S = 60
LOOKS = 48
WARM_UP = 0.25
"""The part of the run after which nothing may grow any more."""


@dataclass(frozen=True, slots=True)
class Look:
    """What the daemon holds at a time."""

    hours: float
    memory_mb: float
    files: int
    threads: int
    wal_mb: float
    database_mb: float
    inside: Inside


@dataclass(frozen=True, slots=True)
class Soaked:
    """A whole run."""

    probes: int
    speed: float
    sent: int
    received: int
    looks: tuple[Look, ...]

    @property
    def settled(self) -> list[Look]:
        """The looks after the warm-up."""
        return list(self.looks[round(WARM_UP * len(self.looks)) :])

    @property
    def growth_mb_per_h(self) -> float:
        """The slope of the memory after the warm-up."""
        hours = [look.hours for look in self.settled]
        return float(np.polyfit(hours, [look.memory_mb for look in self.settled], 1)[0])


def soak(folder: Path, hours: float, speed: float, probes: int) -> Soaked:
    """Run a house; each probe publishes once a minute of its time."""
    band = "{ humidity = [60, 90] }"
    setup = "".join(
        f"""
        [[enclosure]]
        id = "e{n}"
        name = "Enclosure {n}"
        probe = [{{ id = "canopy", zone = "canopy", period_s = {PERIOD_S} }}]
        range = {{ canopy = {{ day = {band}, night = {band} }} }}
        """
        for n in range(probes)
    )
    receiver = Receiver()
    hook = (
        f'\n[[channel]]\nname = "phone"\nkind = "webhook"\nurl = "{receiver.url}"\n'
        "allow_private = true\n"
    )
    broker = Mosquitto(folder, ["autosave_on_changes false"]).start()
    daemon = RunningDaemon(folder, broker.port, setup=setup, more=hook)
    daemon.command[:] = [sys.executable, "-m", "tests.studies.inside", str(speed)]
    looks: list[Look] = []
    try:
        daemon.start()
        daemon.wait_ready()
        began = time.monotonic()
        start_s = time.time()
        process = psutil.Process(daemon.pid)
        minutes = round(hours * 60)
        with Publisher(broker.port) as devices:
            for minute in range(minutes):
                ahead_s = minute * 60 / speed - (time.monotonic() - began)
                if ahead_s > 0:
                    time.sleep(ahead_s)
                for n in range(probes):
                    devices.send(f"dewkeep/e{n}/canopy", reading(start_s + 60 * minute, n))
                if minute * LOOKS // minutes != (minute - 1) * LOOKS // minutes:
                    looks.append(_look(process, folder / "dewkeep.db", minute / 60))
            devices.flush()
        sent = minutes * probes
        eventually(lambda: daemon.get("/health")["broker"]["received"] >= sent, "all in", 120, 0.2)
        received: int = daemon.get("/health")["broker"]["received"]
    finally:
        daemon.close()
        broker.stop()
        receiver.close()
    return Soaked(probes, speed, sent, received, tuple(looks))


def reading(at_s: float, n: int) -> bytes:
    """Air that breathes with the hours, and falls too dry for half an hour every three."""
    hour = at_s / 3600 + n / 7
    dry = 30.0 if (hour % 3) < 0.5 else 0.0
    return senml(at_s, 22 + 2 * np.sin(hour / 4), 78 + 4 * np.sin(hour) - dry)


def _look(process: psutil.Process, database: Path, hours: float) -> Look:
    with process.oneshot():
        wal = database.with_name("dewkeep.db-wal")
        return Look(
            hours,
            process.memory_info().rss / 2**20,
            process.num_fds(),
            process.num_threads(),
            wal.stat().st_size / 2**20 if wal.exists() else 0.0,
            database.stat().st_size / 2**20,
            Inside.read(database.parent),
        )


def table(run: Soaked) -> str:
    """The run as a table in Markdown."""
    every = max(1, len(run.looks) // 8)
    rows = "".join(
        f"| {look.hours:.1f} | {look.memory_mb:.1f} | {look.files} | {look.threads} "
        f"| {look.wal_mb:.2f} | {look.database_mb:.2f} | {look.inside.blocks / 1000:.0f} "
        f"| {look.inside.sqlite_mb:.1f} | {look.inside.free_mb:.1f} |\n"
        for look in (*run.looks[::every], run.looks[-1])
    )
    return (
        f"{run.probes} probes once a minute, {run.looks[-1].hours:.0f} simulated hours at "
        f"{run.speed:g} times the speed: {run.sent:,} messages sent, {run.received:,} received. "
        f"After the first quarter memory grew by {run.growth_mb_per_h:+.3f} MiB in a simulated "
        f"hour, open files were {min(x.files for x in run.settled)} to "
        f"{max(x.files for x in run.settled)}, and the write-ahead log at most "
        f"{max(x.wal_mb for x in run.looks):.1f} MiB.\n\n"
        "| hours | memory, MiB | open files | threads | write-ahead log, MiB | database, MiB "
        "| Python's pieces, thousands | SQLite's caches, MiB | free in the heap, MiB |\n"
        f"|---:|---:|---:|---:|---:|---:|---:|---:|---:|\n{rows}"
    )


def main() -> None:
    """Run and tell."""
    parser = argparse.ArgumentParser(prog="python -m tests.studies.study_soak")
    parser.add_argument("--hours", type=float, default=24.0)
    parser.add_argument("--speed", type=float, default=100.0)
    parser.add_argument("--probes", type=int, default=40)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        run = soak(Path(folder), given.hours, given.speed, given.probes)
    print(table(run))
    if given.hours >= 24:
        record(PAGE, "soak" if given.hours < 96 else "long soak", table(run))


if __name__ == "__main__":
    main()
