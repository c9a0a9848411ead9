"""Whoever is to be told is slow, hangs, or refuses."""

import threading
import time
from pathlib import Path

from tests.faults.scale import Scale
from tests.faults.scene import HOOK, Scene, Story
from tests.faults.tally import Tally
from tests.support.receiver import Receiver


def slow(folder: Path, scale: Scale) -> Tally:
    """Every answer takes its time; readings do not wait for it."""
    answer_s = 0.3

    def answer(_number: int) -> int:
        time.sleep(answer_s)
        return 204

    scene = Scene(folder, Story.until(time.time(), scale.of(3, 12)), receiver=Receiver(answer))
    with scene.stream(2.0):
        pass
    scene.settle(300)
    return scene.account(f"webhook that takes {answer_s} s for each answer")


def hanging(folder: Path, scale: Scale) -> Tally:
    """One receiver never answers: the other is told everything, and so is it once it is well."""
    well = threading.Event()

    def answer(_number: int) -> int:
        well.wait()
        return 204

    stuck = Receiver(answer)
    scene = Scene(
        folder,
        Story.until(time.time(), scale.of(2, 6)),
        more=HOOK.format(name="stuck", url=stuck.url),
    )
    with scene.stream(2.0):
        pass
    try:
        scene.settle_but("stuck")
        waiting = {row["name"]: row["waiting"] for row in scene.daemon.get("/health")["channels"]}
        well.set()
        scene.settle(300)
        told = {request.json["idempotency_key"] for request in stuck.received}
        tally = scene.account("webhook that never answers, beside one that does")
        tally.untold += tally.alarms - len({key for key in told if "/raised" in key})
        tally.notes.append(f"{waiting['stuck']} waited for it alone, and left when it was well")
    finally:
        well.set()
        stuck.close()
    return tally


def refusing(folder: Path, scale: Scale) -> Tally:
    """Two of three requests are answered with 503."""
    receiver = Receiver(lambda number: 204 if number % 3 == 0 else 503)
    scene = Scene(folder, Story.until(time.time(), scale.of(1, 3)), receiver=receiver)
    with scene.stream(2.0):
        pass
    scene.settle(300)
    tally = scene.account("webhook that refuses two of three requests (503)")
    tally.repeats = 0  # what was refused was not told
    return tally
