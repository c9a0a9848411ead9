"""What it costs mosquitto to save, and what it loses without: the choice in deploy/mosquitto.conf.

    python -m tests.studies.study_broker [--rate R] [--backlogs N,N,...]

A house publishes so many messages a second, while dewkeep watches or while it is away and so many
wait for it already. After a while the broker is killed and started again. What it wrote, how many
messages it confirmed to the devices in that time, and how many of those it then no longer has, is
written into docs/operations.md.
"""

import argparse
import shutil
import tempfile
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.support.publisher import senml
from tests.support.record import record
from tests.support.servers import Mosquitto

PAGE = Path(__file__).parents[2] / "docs" / "operations.md"
TOPICS = [f"dewkeep/e{n}/canopy" for n in range(100)]
FILTER = "dewkeep/+/+"
OFF = ("autosave_on_changes false", "autosave_interval 0")
CHANGES = (1, 10, 100, 1000)
SECONDS = (10, 30)


@dataclass(frozen=True, slots=True)
class Saving:
    """When the broker saves."""

    interval: int
    on_changes: bool

    @property
    def lines(self) -> tuple[str, ...]:
        """As mosquitto reads it."""
        return (
            f"autosave_on_changes {str(self.on_changes).lower()}",
            f"autosave_interval {self.interval}",
        )

    @property
    def watch_s(self) -> int:
        """What it writes is counted for so long; mosquitto lets a second more pass than told."""
        return 20 if self.on_changes else 2 * (self.interval + 1)

    @property
    def kill_s(self) -> int:
        """When it is killed: just before it would save again."""
        return 20 if self.on_changes else 3 * (self.interval + 1) - 1

    def __str__(self) -> str:
        """For people."""
        if self.on_changes:
            return "every change" if self.interval == 1 else f"every {self.interval:,} changes"
        return f"every {self.interval} s"


@dataclass(frozen=True, slots=True)
class Cost:
    """One setting at one backlog."""

    saving: Saving
    backlog: int | None
    """Messages that wait, None while dewkeep watches."""
    written_bytes: int
    sent: int
    confirmed: int
    lost: int


class Session:
    """A subscriber like the daemon: a kept session, and each message acknowledged as it comes."""

    def __init__(self, port: int) -> None:
        self.got: set[bytes] = set()
        self._port = port
        self._client = mqtt.Client(
            CallbackAPIVersion.VERSION2, client_id="dewkeep", clean_session=False
        )
        self._client.on_message = lambda _client, _data, message: self.got.add(
            bytes(message.payload)
        )
        self._client.on_connect = lambda client, *_: client.subscribe(FILTER, 1)
        self._subscribed = threading.Event()
        self._client.on_subscribe = lambda *_: self._subscribed.set()

    def __enter__(self) -> Self:
        self._client.connect("127.0.0.1", self._port)
        self._client.loop_start()
        assert self._subscribed.wait(30)
        return self

    def __exit__(self, *_: object) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def drain(self) -> None:
        """Until nothing has come for a while."""
        before = -1
        while len(self.got) > before:
            before = len(self.got)
            time.sleep(3)


class Devices:
    """All the devices of a house, by one connection."""

    def __init__(self, port: int) -> None:
        self._sent: list[tuple[bytes, mqtt.MQTTMessageInfo]] = []
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2)
        self._client.max_inflight_messages_set(20_000)
        self._client.max_queued_messages_set(0)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def send(self, number: int) -> None:
        """A reading that no other is like."""
        payload = senml(1_796_000_000 + number / 100, 23.4, 81.2)
        topic = TOPICS[number % len(TOPICS)]
        self._sent.append((payload, self._client.publish(topic, payload, qos=1)))

    def wait(self) -> None:
        """Until the broker has confirmed all of it, and forget it."""
        for _, message in self._sent:
            message.wait_for_publish(300)
            assert message.is_published()
        self._sent.clear()

    def confirmed(self) -> set[bytes]:
        """What the broker has confirmed so far."""
        return {payload for payload, message in self._sent if message.is_published()}

    def close(self) -> None:
        """Hang up."""
        self._client.disconnect()
        self._client.loop_stop()


def prepared(folder: Path, backlog: int) -> Path:
    """The file of a broker at which so many messages wait for the daemon."""
    folder.mkdir()
    broker = Mosquitto(folder, OFF).start()
    with Session(broker.port):
        pass
    devices = Devices(broker.port)
    for number in range(1, backlog + 1):
        devices.send(-number)
        if number % 10_000 == 0:
            devices.wait()
    devices.wait()
    devices.close()
    broker.stop()
    return folder / "mosquitto.db"


def measure(folder: Path, saving: Saving, backlog: int | None, saved: Path, rate: int) -> Cost:
    """Publish for a while, kill the broker, and see what it still has."""
    folder.mkdir()
    shutil.copy(saved, folder / "mosquitto.db")
    broker = Mosquitto(folder, saving.lines).start()
    with ExitStack() as stack:
        watching = stack.enter_context(Session(broker.port)) if backlog is None else None
        devices = Devices(broker.port)
        stack.callback(devices.close)
        before = _written(broker.pid)
        began = time.monotonic()
        for number in range(rate * saving.kill_s):
            time.sleep(max(0.0, number / rate - (time.monotonic() - began)))
            devices.send(number)
            if number <= rate * saving.watch_s:
                written = _written(broker.pid) - before
        broker.kill()
        confirmed = devices.confirmed()
    broker.start()
    with Session(broker.port) as again:
        again.drain()
    broker.stop()
    shutil.rmtree(folder)
    lost = confirmed - again.got - (watching.got if watching else set())
    return Cost(saving, backlog, written, rate * saving.kill_s, len(confirmed), len(lost))


def _written(pid: int) -> int:
    for line in Path(f"/proc/{pid}/io").read_text().splitlines():
        if line.startswith("wchar:"):
            return int(line.split()[1])
    raise LookupError(pid)


def table(costs: list[Cost], rate: int) -> str:
    """As a table in Markdown."""
    rows = "".join(
        f"| {cost.saving} | {'dewkeep watches' if cost.backlog is None else f'{cost.backlog:,}'} "
        f"| {cost.written_bytes / 1e6 / cost.saving.watch_s:.3g} "
        f"| {cost.confirmed:,} of {cost.sent:,} | {cost.lost:,} |\n"
        for cost in costs
    )
    return (
        f"{rate} messages a second:\n\n"
        "| saved | waiting | written, MB/s | confirmed in time | of them lost by the kill |\n"
        f"|---|---:|---:|---:|---:|\n{rows}"
    )


def main() -> None:
    """Measure and tell."""
    parser = argparse.ArgumentParser(prog="python -m tests.studies.study_broker")
    parser.add_argument("--rate", type=int, default=100)
    parser.add_argument("--backlogs", default="10000,100000")
    given = parser.parse_args()
    backlogs = [None, *map(int, given.backlogs.split(","))]
    savings = [Saving(n, True) for n in CHANGES] + [Saving(n, False) for n in SECONDS]
    costs: list[Cost] = []
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as name:
        for backlog in backlogs:
            saved = prepared(Path(name) / f"waiting-{backlog}", backlog or 0)
            for n, saving in enumerate(savings):
                costs.append(
                    measure(Path(name) / f"run-{backlog}-{n}", saving, backlog, saved, given.rate)
                )
                print(costs[-1], flush=True)
    print(table(costs, given.rate))
    record(PAGE, "saving", table(costs, given.rate))


if __name__ == "__main__":
    main()
