"""The time: a clock that jumps, hours that come twice or never, the day that is only sometimes."""

import datetime as dt
import sys
import time
from pathlib import Path

from tests.faults.scale import Scale
from tests.faults.scene import Scene, Story
from tests.faults.shifted import OFFSET_FILE
from tests.faults.tally import Tally
from tests.support.daemon import RunningDaemon

HOUR_S = 3600


def jumping(folder: Path, scale: Scale) -> Tally:
    """The wall clock goes forward by an hour and back by two, again and again.

    The story ends three hours ago, so that none of it ever lies ahead. Probes are taken for silent
    after ten minutes: none ever is.
    """
    clock = Clock(folder)
    jumps = scale.of(2, 8)
    scene = Scene(
        folder,
        Story.until(time.time() - 3 * HOUR_S, scale.of(2, 10)),
        silent_after_s=600,
        dress=clock.rule,
    )
    with scene.stream(scale.of(6, 40)):
        for jump in range(jumps):
            time.sleep(1.5)
            clock.set((HOUR_S, -HOUR_S)[jump % 2])
    scene.settle()
    jumped = scene.daemon.log.read_text().count("the clock jumped")
    assert jumped == jumps, f"{jumped} of {jumps} jumps were noticed"
    return scene.account(
        f"wall clock put forward and back {jumps} times", "no probe taken for silent"
    )


def summer_ends(folder: Path, scale: Scale) -> Tally:
    """The hour that comes twice, in Lisbon on 25 October 2026."""
    return _at(folder, scale, "2026-10-25T02:30:00+00:00", "summer time ends: an hour comes twice")


def summer_begins(folder: Path, scale: Scale) -> Tally:
    """The hour that never comes, on 29 March 2026."""
    return _at(folder, scale, "2026-03-29T02:30:00+00:00", "summer time begins: an hour is missing")


def leap_day(folder: Path, scale: Scale) -> Tally:
    """Into 29 February 2028 and out of it."""
    first = _at(folder / "in", scale, "2028-02-29T00:30:00+00:00", "into a leap day and out of it")
    second = _at(folder / "out", scale, "2028-03-01T00:30:00+00:00", "")
    for name in first.__slots__:
        value = getattr(first, name)
        if isinstance(value, int):
            setattr(first, name, value + getattr(second, name))
    return first


def _at(folder: Path, scale: Scale, end: str, fault: str) -> Tally:
    """A story that is told while it is that time."""
    folder.mkdir(exist_ok=True)
    end_s = dt.datetime.fromisoformat(end).timestamp()
    clock = Clock(folder)
    clock.set(end_s - time.time())
    scene = Scene(folder, Story.until(end_s, scale.of(4, 6)), dress=clock.rule)
    with scene.stream(2.0):
        pass
    scene.settle()
    return scene.account(fault)


class Clock:
    """The wall clock of a daemon: this machine's, put forward by what a file says."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / OFFSET_FILE
        self.set(0)

    def set(self, offset_s: float) -> None:
        """From now on."""
        unfinished = self._file.with_suffix(".new")
        unfinished.write_text(str(offset_s))
        unfinished.rename(self._file)

    def rule(self, daemon: RunningDaemon) -> None:
        """Have a daemon go by it."""
        daemon.command[:] = [sys.executable, "-m", "tests.faults.shifted"]
