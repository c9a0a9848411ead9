"""The broker is killed as by a power cut, and each message that is lost is traced to its end.

Devices and daemon talk to the broker along lines that note every message and every confirmation.
So it is known of a message that is not in the store whether its device may have forgotten it
(the broker had confirmed it), and whether dewkeep can ever have seen it.
"""

import random
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from tests.faults.overheard import Overheard, Told
from tests.faults.scale import Scale
from tests.faults.scene import Scene, Story, ready_says
from tests.faults.tally import Tally
from tests.support.servers import Mosquitto, shipped_persistence
from tests.support.waiting import eventually

EVERY_CHANGE = ("autosave_on_changes true", "autosave_interval 1")


def in_a_row(folder: Path, scale: Scale) -> Tally:
    """Again and again, before the daemon can come back, so that all waits at the broker.

    It saves after every change, which is the most that it can do; what the shipped settings would
    lose of a queue, tests/studies/study_broker.py measures.
    """
    kills = scale.of(2, 10)
    with heard(folder, Story.until(time.time(), scale.of(3, 8)), EVERY_CHANGE) as house:
        with house.scene.stream(scale.of(10, 80)):
            for _ in range(kills):
                time.sleep(1.3)
                house.kill()
        house.scene.settle()
        return house.account(f"broker that saves every change killed (-9) {kills} times in a row")


def connected(folder: Path, scale: Scale) -> Tally:
    """Each time while the daemon is there, so that all goes on to it at once.

    The settings are the shipped ones, and the daemon's session has been saved once.
    """
    kills = scale.of(3, 10)
    chance = random.Random(11)  # noqa: S311 - chooses when to kill
    story = Story.until(time.time(), scale.of(3, 8))
    with heard(folder, story, shipped_persistence()) as house:
        eventually(lambda: b"under-test" in house.scene.broker.saved(), "the session saved", 60)
        with house.scene.stream(scale.of(12, 80)):
            for _ in range(kills):
                eventually(lambda: ready_says(house.scene.daemon)["ready"], "connected", 60)
                time.sleep(chance.uniform(0.3, 1.5))
                house.kill()
        house.scene.settle()
        return house.account(f"broker killed (-9) {kills} times while dewkeep is connected")


@dataclass(frozen=True, slots=True)
class Kill:
    """When, on ``time.monotonic``, and what the broker had on its disk then."""

    at: float
    saved: bytes


@dataclass(slots=True)
class Heard:
    """A house whose lines to the broker are overheard."""

    scene: Scene
    to_devices: Overheard
    to_daemon: Overheard
    kills: list[Kill] = field(default_factory=list)

    def kill(self) -> None:
        """The broker, and start it again."""
        at = time.monotonic()
        self.scene.broker.kill()
        self.kills.append(Kill(at, self.scene.broker.saved()))
        self.scene.broker.start()

    def account(self, fault: str) -> Tally:
        """Count, and tell where each lost message was lost.

        Fails on one that dewkeep may have lost, and on one that its device ought to have repeated.
        """
        tally = self.scene.account(fault)
        again = sum(times > 1 for times in self.to_devices.published.values())
        tally.notes.append(f"not confirmed, and sent again by the devices: {again}")
        lost = self.scene.lost
        if not lost:
            return tally
        ours = lost & self.to_daemon.published.keys()
        assert not ours, f"{len(ours)} were sent on to dewkeep and are not in its store: {ours}"
        unconfirmed = lost - self.to_devices.confirmed.keys()
        assert not unconfirmed, f"{len(unconfirmed)} were never confirmed: {unconfirmed}"
        saved = [told for told in lost if any(stored_as(told) in kill.saved for kill in self.kills)]
        apart_s = max(self._from_kill_s(self.to_devices.confirmed[told]) for told in lost)
        tally.by_others = tally.lost
        tally.notes.append(
            f"lost by the broker: {len(lost)} of the messages, each confirmed to its device within "
            f"{1000 * apart_s:.0f} ms of a kill, {len(saved) or 'none'} of them saved, none ever "
            "sent to dewkeep"
        )
        return tally

    def _from_kill_s(self, at: float) -> float:
        # What it had sent is still heard a little after its end.
        return min(abs(kill.at - at) for kill in self.kills)


@contextmanager
def heard(folder: Path, story: Story, saving: Sequence[str]) -> Iterator[Heard]:
    """The parts, running; the broker saves as told."""
    (folder / "broker").mkdir()
    broker = Mosquitto(folder / "broker", saving).start()
    with Overheard(broker.port) as to_devices, Overheard(broker.port) as to_daemon:
        scene = Scene(
            folder,
            story,
            broker=broker,
            broker_port=to_daemon.port,
            device_port=to_devices.port,
        )
        yield Heard(scene, to_devices, to_daemon)


def stored_as(told: Told) -> bytes:
    """How a message stands in mosquitto's file: the topic, and the payload behind it."""
    return told.topic.encode() + told.payload
