"""The daemon itself ends: killed, asked to stop, out of memory."""

import os
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.faults.scale import PeakBytes, Scale, Skipped
from tests.faults.scene import Scene, Story
from tests.faults.tally import Tally
from tests.support.waiting import eventually


def killed(folder: Path, scale: Scale) -> Tally:
    """Killed as by a power cut, at random moments under load."""
    scene = Scene(folder, Story.until(time.time(), scale.of(4, 12)))
    chance = random.Random(7)  # noqa: S311 - chooses when to kill
    kills = scale.of(5, 50)
    with scene.stream(scale.of(8, 150)):
        for _ in range(kills):
            time.sleep(chance.uniform(0.0, 1.2))
            scene.daemon.kill()
            scene.daemon.start()
    scene.settle()
    return scene.account(f"daemon killed (-9) {kills} times under load")


def terminated(folder: Path, scale: Scale) -> Tally:
    """Asked to stop in the middle of it all."""
    scene = Scene(folder, Story.until(time.time(), scale.of(3, 8)))
    stops = scale.of(3, 15)
    slowest_s = 0.0
    with scene.stream(scale.of(6, 60)):
        for _ in range(stops):
            time.sleep(0.7)
            began = time.monotonic()
            code = scene.daemon.stop()
            slowest_s = max(slowest_s, time.monotonic() - began)
            assert code == 0, f"exit code {code}"
            scene.daemon.start()
    scene.settle()
    return scene.account(
        f"SIGTERM under load {stops} times", f"exit code 0, at most {slowest_s:.1f} s each"
    )


def short_of_memory(folder: Path, scale: Scale) -> Tally:
    """A cap far below what an unbounded backlog would take."""
    cap_mb = 128
    with memory_group(cap_mb) as (join, peak_bytes):
        scene = Scene(
            folder,
            Story.until(time.time(), scale.of(10, 30)),
            dress=lambda daemon: daemon.command.__setitem__(slice(0, 0), join),
        )
        scene.daemon.stop()
        with scene.stream(0.0):
            pass
        scene.daemon.start()
        scene.settle()
        peak_mb = peak_bytes() / 2**20
        tally = scene.account(f"memory capped at {cap_mb} MB, a backlog to take in at once")
    tally.notes.append(f"peak {peak_mb:.0f} MB with the page cache")
    return tally


def backlog(folder: Path, scale: Scale) -> Tally:
    """Thousands of messages queue at the broker while the daemon is down."""
    scene = Scene(folder, Story.until(time.time(), scale.of(10, 17)))
    scene.daemon.stop()
    with scene.stream(0.0):
        pass
    scene.broker.stop()
    scene.broker.start()
    began = time.monotonic()
    scene.daemon.start()
    scene.settle()
    took_s = time.monotonic() - began
    queued = 5 * scene.story.steps
    return scene.account(
        f"{queued:,} messages queued while down, broker restarted meanwhile",
        f"all in and told {took_s:.1f} s after the start",
    )


@contextmanager
def memory_group(cap_mb: int) -> Iterator[tuple[list[str], PeakBytes]]:
    """A control group with a limit: the words that put a command into it, and its peak so far."""
    root = Path("/sys/fs/cgroup")
    old = (root / "memory").is_dir()
    group = (root / "memory" if old else root) / f"dewkeep-faults-{os.getpid()}"
    limit, peak = (
        ("memory.limit_in_bytes", "memory.max_usage_in_bytes")
        if old
        else ("memory.max", "memory.peak")
    )
    try:
        group.mkdir()
        (group / limit).write_text(str(cap_mb * 2**20))
    except OSError as exc:
        raise Skipped(f"no control group with a limit of memory can be made here: {exc}") from exc
    enter = f'echo $$ >{group}/cgroup.procs && exec "$@"'
    try:
        yield ["sh", "-c", enter, "sh"], lambda: int((group / peak).read_text())
    finally:
        eventually(lambda: not (group / "cgroup.procs").read_text(), "the group to be empty")
        group.rmdir()
