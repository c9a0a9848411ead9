"""Floods of messages nobody asked for, beside a probe that goes on as ever; the broker is real."""

import itertools
import json
import threading
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import psutil
import pytest

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

MOST_GROWTH_MB = 48
"""Far more than a batch of the longest messages takes, far less than any of the floods is long."""


@dataclass(frozen=True)
class Weathered:
    """What was seen while a flood went on."""

    sent: int
    """Readings of the canopy, each seen in the store before the next was sent."""
    in_time: int
    """Those of them that were seen before all of the flood was poured."""
    growth_mb: float
    seconds: float
    log: str
    """What the daemon wrote meanwhile."""


class Flooded:
    """A daemon, and a broker that lets everything through, however long."""

    def __init__(self, folder: Path) -> None:
        self.broker = Mosquitto(
            folder, ["autosave_on_changes false", "autosave_interval 0"]
        ).start()
        self.daemon = RunningDaemon(folder, self.broker.port).start()
        self.daemon.wait_ready()

    def weather(self, flood: Iterable[tuple[str, bytes]], pause_s: float = 0.0) -> Weathered:
        """Let the flood loose, and have the canopy's probe publish for as long as it lasts."""
        done = threading.Event()
        failed: list[BaseException] = []

        def pour() -> None:
            try:
                with Publisher(self.broker.port) as flooder:
                    for number, (topic, payload) in enumerate(flood, 1):
                        flooder.send(topic, payload)
                        time.sleep(pause_s)
                        if number % 1_000 == 0:
                            flooder.flush(300)
                    flooder.flush(300)
            except BaseException as exc:  # noqa: BLE001 - told to whoever waits
                failed.append(exc)
            finally:
                done.set()

        process = psutil.Process(self.daemon.pid)
        before = process.memory_info().rss
        peak = before
        log_begins = self.daemon.log.stat().st_size
        pouring = threading.Thread(target=pour)
        began = time.monotonic()
        in_time = 0
        with Publisher(self.broker.port) as probe:
            pouring.start()
            for number in itertools.count(1):
                self._go_on(probe, number)
                peak = max(peak, process.memory_info().rss)
                if done.is_set():
                    break
                in_time = number
        pouring.join()
        assert not failed, failed
        # The broker hands messages on in their order: behind this one is nothing of the flood.
        with Publisher(self.broker.port) as probe:
            self._go_on(probe, number + 1)
        return Weathered(
            number + 1,
            in_time,
            (peak - before) / 2**20,
            time.monotonic() - began,
            self.daemon.log.read_bytes()[log_begins:].decode(),
        )

    def wait_rejected(self, expected: dict[str, int]) -> None:
        """Until exactly these are counted, a moment after what was good of their batch is kept."""
        eventually(
            lambda: self.daemon.get("/health")["rejected"]["counts"] == expected, f"{expected}"
        )

    def _go_on(self, probe: Publisher, number: int) -> None:
        """Send a reading and see it in the climate; the daemon says that it is ready all along."""
        value = round(20 + number % 500 / 100, 2)
        probe.send("dewkeep/cork-cube/canopy", senml(time.time(), value, 70))

        def seen() -> bool:
            told = self.daemon.http.get("/readyz")
            assert told.status_code == 200, told.text
            (canopy,) = self.daemon.get("/enclosures/cork-cube/climate")["probes"]
            return bool(canopy.get("temperature", {}).get("value") == value)

        eventually(seen, f"reading {number} in the store", 120, 0.05)

    def kept(self) -> int:
        """How many readings of the canopy's temperature are in the store."""
        series = self.daemon.get(
            "/enclosures/cork-cube/series", probe="canopy", quantity="temperature", points=1
        )
        return sum(point[series["columns"].index("count")] for point in series["points"])


@pytest.fixture
def flooded(tmp_path: Path) -> Iterator[Flooded]:
    """Stopped in the end."""
    built = Flooded(tmp_path)
    yield built
    built.daemon.close()
    built.broker.stop()


def rejected_lines(seen: Weathered) -> list[str]:
    """Lines about rejected messages."""
    return [line for line in seen.log.splitlines() if " rejected " in line]


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_a_hundred_thousand_topics(flooded: Flooded) -> None:
    """Each is counted, none is remembered; the log has a line a minute, however long the topics."""
    count = 100_000
    seen = flooded.weather(
        (f"dewkeep/x{n}{'y' * 60_000 * (n % 1000 == 0)}/probe", b"[]") for n in range(count)
    )

    flooded.wait_rejected({"unknown": count})
    assert seen.in_time >= 3
    assert flooded.kept() == seen.sent
    assert seen.growth_mb < MOST_GROWTH_MB
    assert 1 <= len(rejected_lines(seen)) <= 1 + seen.seconds / 60
    assert len(seen.log) < 10_000
    assert len(flooded.daemon.http.get("/api/v1/health").content) < 100_000


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_messages_that_are_too_long(flooded: Flooded) -> None:
    """A megabyte each, on topics of the house and others: refused, and none stays in memory."""
    count = 300
    payload = b'"' + b"x" * 2**20 + b'"'
    topics = ("dewkeep/cork-cube/canopy", "dewkeep/back-room/air", "dewkeep/nowhere/at-all")
    seen = flooded.weather(((topics[n % 3], payload) for n in range(count)), 0.02)

    flooded.wait_rejected({"too_large": 200, "unknown": 100})
    assert seen.in_time >= 3
    assert flooded.kept() == seen.sent
    assert seen.growth_mb < MOST_GROWTH_MB


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_packs_of_nothing_but_mistakes(flooded: Flooded) -> None:
    """As long as the shipped broker lets through, as many records as fit: each is counted."""
    count, records = 300, 1_200
    pack = json.dumps([{"n": f"nonsense-{n}", "u": "Cel", "v": n} for n in range(records)]).encode()
    assert 50_000 < len(pack) < 65_536
    seen = flooded.weather(("dewkeep/back-room/air", pack) for _ in range(count))

    flooded.wait_rejected({"unknown_name": count * records})
    assert flooded.kept() == seen.sent
    assert seen.growth_mb < MOST_GROWTH_MB
    assert 1 <= len(rejected_lines(seen)) <= 1 + seen.seconds / 60
