"""A house under load: broker, daemon, devices and a receiver, and an account of what was lost.

The devices tell a story whose alarms are known beforehand: in each enclosure the humidity falls for
ten minutes, again and again, and each fall is one alarm. The story is told much faster than it
happens, so that the time of a reading says which alarm it belongs to.
"""

import atexit
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from monitor.alarms.model import DAEMON
from monitor.quantities import Quantity
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import alarms
from monitor.times import DAY_MS
from tests.faults.overheard import Told
from tests.faults.tally import Tally
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.receiver import Receiver
from tests.support.servers import Mosquitto, shipped_persistence
from tests.support.waiting import eventually

ENCLOSURES = 5
STEP_S = 10
FALL_STEPS = 60
EPISODE_STEPS = 120
"""Ten minutes of moist air, then ten of dry."""
END_OF_TIME_MS = 2**45

SETTINGS = """
[alarms]
on_delay_s = 120
off_delay_s = 60

[judge]
max_step = { humidity = 100 }
"""
HOOK = """
[[channel]]
name = "{name}"
kind = "webhook"
url = "{url}"
allow_private = true
most_per_hour = 10000
"""


def set_up(silent_after_s: int = 86_400) -> str:
    """The enclosures of the story."""
    band = "{ humidity = [60, 90] }"
    return "".join(
        f"""
        [[enclosure]]
        id = "e{n}"
        name = "Enclosure {n}"
        timezone = "Europe/Lisbon"
        probe = [{{ id = "canopy", zone = "canopy", silent_after_s = {silent_after_s} }}]
        range = {{ canopy = {{ day = {band}, night = {band} }} }}
        """
        for n in range(ENCLOSURES)
    )


@dataclass(frozen=True, slots=True)
class Story:
    """What the devices tell, from a time on."""

    start_s: int
    episodes: int

    @classmethod
    def until(cls, end_s: float, episodes: int) -> "Story":
        """One that ends at a time."""
        length_s = episodes * EPISODE_STEPS * STEP_S
        return cls((int(end_s) - length_s) // STEP_S * STEP_S, episodes)

    @property
    def steps(self) -> int:
        """Readings of each probe."""
        return self.episodes * EPISODE_STEPS

    def at_ms(self, step: int) -> int:
        """When a reading was taken."""
        return 1000 * (self.start_s + STEP_S * step)

    @staticmethod
    def temperature(step: int) -> float:
        """Tells a step from its neighbours."""
        return 20.0 + step % 500 / 100

    @staticmethod
    def humidity(step: int) -> float:
        """Well, then too dry."""
        return 75.0 if step % EPISODE_STEPS < FALL_STEPS else 45.0

    def message(self, n: int, step: int) -> Told:
        """What the probe of one enclosure says."""
        at_s = self.start_s + STEP_S * step
        payload = senml(at_s, self.temperature(step), self.humidity(step))
        return Told(f"dewkeep/e{n}/canopy", payload)

    def messages(self) -> Iterator[Told]:
        """All of it, in order."""
        for step in range(self.steps):
            for n in range(ENCLOSURES):
                yield self.message(n, step)


class Scene:
    """The parts, running; ``stream`` tells the story while something goes wrong."""

    def __init__(
        self,
        folder: Path,
        story: Story,
        *,
        broker: Mosquitto | None = None,
        receiver: Receiver | None = None,
        more: str = "",
        silent_after_s: int = 86_400,
        broker_port: int | None = None,
        device_port: int | None = None,
        device_host: str = "127.0.0.1",
        dress: Callable[[RunningDaemon], None] = lambda _daemon: None,
    ) -> None:
        self.story = story
        self.lost: set[Told] = set()
        """Messages of which a reading is not in the store; known once it is counted."""
        if broker is None:
            (folder / "broker").mkdir()
            broker = Mosquitto(folder / "broker", shipped_persistence()).start()
        self.broker = broker
        self.receiver = receiver or Receiver()
        self.daemon = RunningDaemon(
            folder,
            broker_port or broker.port,
            setup=set_up(silent_after_s),
            more=SETTINGS + HOOK.format(name="phone", url=self.receiver.url) + more,
        )
        dress(self.daemon)
        self.database = folder / "dewkeep.db"
        self.device_port = device_port or broker.port
        self.device_host = device_host
        atexit.register(self.close)  # a fault that fails leaves nothing running behind
        self.daemon.start()
        self.daemon.wait_ready()

    @contextmanager
    def stream(self, seconds: float, part: tuple[float, float] = (0.0, 1.0)) -> Iterator[None]:
        """Tell a part of the story, by default all, over so many seconds while the block runs.

        In the end the broker has all of it.
        """
        messages = list(self.story.messages())
        begin, end = (round(len(messages) * edge) for edge in part)
        failed: list[BaseException] = []

        def tell() -> None:
            pause_s = seconds / max(1, end - begin)
            due = time.monotonic()
            try:
                with Publisher(self.device_port, self.device_host) as devices:
                    for topic, payload in messages[begin:end]:
                        devices.send(topic, payload)
                        due += pause_s
                        if (ahead_s := due - time.monotonic()) > 0.02:
                            time.sleep(ahead_s)
                    devices.flush(300)
            except BaseException as exc:  # noqa: BLE001 - told to whoever waits
                failed.append(exc)

        telling = threading.Thread(target=tell)
        telling.start()
        try:
            yield
        finally:
            telling.join()
        if failed:
            raise failed[0]

    def settle(self, within_s: float = 120.0, upto: float = 1.0) -> None:
        """Until the daemon has stored the story so far and has nothing left to tell."""
        last_ms = self.story.at_ms(round(self.story.steps * upto) - 1)

        def stored() -> bool:
            return all(self._newest_ms(n) >= last_ms for n in range(ENCLOSURES))

        eventually(stored, "the end of the story in the store", within_s, 0.1)
        self.settle_but(within_s=within_s)

    def settle_but(self, *channels: str, within_s: float = 120.0) -> None:
        """Until nothing waits for any channel but these."""
        eventually(
            lambda: (
                not any(
                    row["waiting"]
                    for row in self.daemon.get("/health")["channels"]
                    if row["name"] not in channels
                )
            ),
            "an empty outbox",
            within_s,
            0.1,
        )

    def _newest_ms(self, n: int) -> int:
        probe = self.daemon.get(f"/enclosures/e{n}/climate")["probes"][0]
        at: str | None = probe["at"]
        return 0 if at is None else int(np.datetime64(at.rstrip("Z"), "ms").astype(int))

    def account(self, fault: str, *notes: str, broker_alarms: int = 0) -> Tally:
        """Stop everything and count; beside the story's there should be so many of the broker."""
        self.close()
        tally = Tally(fault, notes=list(notes))
        database = Database(self.database)
        try:
            readings = SqliteReadings(database)
            for n in range(ENCLOSURES):
                self._count_readings(readings, n, tally)
            with database.reading() as connection:
                rows = alarms.page(connection, limit=1_000_000)
        finally:
            database.close()
        of_broker = sum(row.place == DAEMON for row in rows)
        self._count_alarms([(row.place, row.raised_at_ms, row.id) for row in rows], tally)
        tally.alarms += broker_alarms
        tally.missed += max(0, broker_alarms - of_broker)
        tally.raised_twice -= min(broker_alarms, of_broker)
        return tally

    def _count_readings(self, readings: SqliteReadings, n: int, tally: Tally) -> None:
        steps = range(self.story.steps)
        for quantity, value in (
            (Quantity.TEMPERATURE, self.story.temperature),
            (Quantity.HUMIDITY, self.story.humidity),
        ):
            key = SeriesKey(f"e{n}", "canopy", quantity)
            sent = {(self.story.at_ms(step), round(value(step), 6)) for step in steps}
            track = readings.track(key, self.story.at_ms(0) - DAY_MS, END_OF_TIME_MS)
            stored = [
                (at_ms, round(v, 6))
                for at_ms, v in zip(track.at_ms.tolist(), track.value.tolist(), strict=True)
            ]
            known = set(stored)
            # The rollups count on their own: a reading counted twice there is doubled too.
            span = (self.story.at_ms(0), self.story.at_ms(self.story.steps))
            rolled = int(readings.buckets(key, *span, 8).count.sum())
            tally.readings += len(sent)
            missing = [s for s in steps if (self.story.at_ms(s), round(value(s), 6)) not in known]
            self.lost |= {self.story.message(n, step) for step in missing}
            tally.lost += len(missing)
            tally.doubled += len(stored) - len(sent & known)
            tally.doubled += max(0, rolled - len(known))

    def _count_alarms(self, rows: list[tuple[str, int, str]], tally: Tally) -> None:
        told = Counter(
            (each["id"], each["idempotency_key"])
            for each in (request.json for request in self.receiver.received)
            if each["event"] == "raised"
        )
        keys = Counter(alarm_id for alarm_id, _ in told)
        by_episode = Counter(
            (place, (raised_ms - self.story.at_ms(0)) // (1000 * STEP_S * EPISODE_STEPS))
            for place, raised_ms, _ in rows
        )
        expected = {
            (f"e{n}", episode) for n in range(ENCLOSURES) for episode in range(self.story.episodes)
        }
        tally.alarms = len(expected)
        tally.missed = len(expected - by_episode.keys())
        tally.raised_twice = sum(by_episode.values()) - len(expected & by_episode.keys())
        tally.untold = sum(1 for *_, alarm_id in rows if alarm_id not in keys)
        tally.told_twice = sum(count - 1 for count in keys.values())
        tally.repeats = sum(count - 1 for count in told.values())

    def close(self) -> None:
        """Stop daemon, broker and receiver; doing so twice does no harm."""
        atexit.unregister(self.close)
        self.daemon.stop()
        self.broker.stop()
        self.receiver.close()


def ready_says(daemon: RunningDaemon) -> Mapping[str, Any]:
    """What /readyz answers."""
    answer: Mapping[str, Any] = daemon.http.get("/readyz").json()
    return answer
