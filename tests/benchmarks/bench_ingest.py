"""Drains one and the same queued backlog with a bare paho subscriber and with dewkeep, in turn.

    python -m tests.benchmarks.bench_ingest [--messages N] [--rounds N]

A real mosquitto queues every message for both sessions. The bare subscriber only counts (and lets
paho acknowledge); dewkeep decodes, judges, stores durably, steps all alarms and acknowledges after
the commit. Each drain runs in a process of its own and is timed from its first message to its last
acknowledgement. The second table repeats dewkeep's drain with few and with many enclosures.
"""

import argparse
import json
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack, closing
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from monitor.ingest.link import Link, Message
from monitor.ingest.live import Hub
from monitor.ingest.loop import IngestLoop
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.setup.models import Enclosure, Probe, Zone, ZoneRange
from monitor.setup.settings import Settings
from monitor.species.library import load_library
from monitor.store.engines import opened
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup
from tests.support.publisher import Publisher
from tests.support.servers import Mosquitto

PROBES_EACH = 4
PERIOD_S = 30
FILTER = "dewkeep/+/+"
BARE, FULL = "bare", "dewkeep"


def main() -> None:
    """Run the benchmark, or one drain of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=60_000)
    parser.add_argument("--growth-messages", type=int, default=240_000)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--drain", choices=[BARE, FULL], help=argparse.SUPPRESS)
    parser.add_argument("--port", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--enclosures", type=int, default=50, help=argparse.SUPPRESS)
    parser.add_argument("--store", type=json.loads, default={}, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.drain == BARE:
        print(json.dumps(drain_bare(options.port, options.messages)))
        return
    if options.drain == FULL:
        seconds = drain_full(options.port, options.messages, options.enclosures, options.store)
        print(json.dumps(seconds))
        return
    with tempfile.TemporaryDirectory() as folder:
        broker = Mosquitto(Path(folder), ["autosave_on_changes false"]).start()
        try:
            against_bare(broker.port, options.messages, options.rounds)
            growth(broker.port, options.growth_messages, options.rounds)
        finally:
            broker.stop()


def against_bare(port: int, messages: int, rounds: int) -> None:
    """Print dewkeep's rate over the bare subscriber's."""
    print(f"\n{messages} messages of 2 readings, 200 probes, queued; messages per second\n")
    print("| round | bare paho subscriber | dewkeep, everything on | ratio |\n|---|---:|---:|---:|")
    ratios = []
    for number in range(rounds):
        for name in (BARE, FULL):
            subscribe(port, name)
        fill(port, messages, enclosures=50)
        order = (BARE, FULL) if number % 2 == 0 else (FULL, BARE)
        rates = {name: run_drain(name, port, messages, 50) for name in order}
        ratios.append(rates[FULL] / rates[BARE])
        print(f"| {number + 1} | {rates[BARE]:,.0f} | {rates[FULL]:,.0f} | {ratios[-1]:.2f} |")
    print(f"| median | | | {statistics.median(ratios):.2f} |")


def growth(port: int, messages: int, rounds: int) -> None:
    """Print how the rate changes from 10 to 1,000 enclosures."""
    print(f"\n{messages} messages by number of enclosures (4 probes each); messages per second\n")
    print("| round | 10 | 1,000 | 1,000 over 10 |\n|---|---:|---:|---:|")
    ratios = []
    for number in range(rounds):
        rates = {}
        for enclosures in (10, 1_000) if number % 2 == 0 else (1_000, 10):
            subscribe(port, FULL)
            fill(port, messages, enclosures)
            rates[enclosures] = run_drain(FULL, port, messages, enclosures)
        ratios.append(rates[1_000] / rates[10])
        print(f"| {number + 1} | {rates[10]:,.0f} | {rates[1_000]:,.0f} | {ratios[-1]:.2f} |")
    print(f"| median | | | {statistics.median(ratios):.2f} |")


def subscribe(port: int, client_id: str) -> None:
    """Open a fresh persistent session that queues from now on."""
    for clean in (True, False):
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id, clean_session=clean)
        client.on_connect = lambda c, *_: c.subscribe(FILTER, 1)
        client.on_subscribe = lambda c, *_: c.disconnect()
        client.connect("127.0.0.1", port)
        client.loop_forever()


def fill(port: int, messages: int, enclosures: int) -> None:
    """Publish the backlog: probes in turn, one reading pair every 30 s of their time."""
    probes = [
        (f"e{n // PROBES_EACH}", f"p{n % PROBES_EACH}") for n in range(enclosures * PROBES_EACH)
    ]
    start = int(time.time()) - PERIOD_S * (messages // len(probes) + 1)
    with Publisher(port) as publisher:
        for n in range(messages):
            turn, which = divmod(n, len(probes))
            enclosure, probe = probes[which]
            publisher.send(
                f"dewkeep/{enclosure}/{probe}",
                b'[{"bt":%d,"n":"temperature","u":"Cel","v":%.1f},'
                b'{"n":"humidity","u":"%%RH","v":%.1f}]'
                % (start + PERIOD_S * turn, 23 + turn % 10 / 10, 70 + turn % 7 / 10),
            )
            if n % 5_000 == 4_999:
                publisher.flush()
        publisher.flush()


def run_drain(
    name: str, port: int, messages: int, enclosures: int, store: Mapping[str, str] | None = None
) -> float:
    """Messages per second of one drain in its own process; ``store`` names another engine."""
    command = [sys.executable, "-m", "tests.benchmarks.bench_ingest", "--drain", name]
    command += ["--port", str(port), "--messages", str(messages), "--enclosures", str(enclosures)]
    command += ["--store", json.dumps(store or {})]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True, timeout=300)
    seconds: float = json.loads(done.stdout.splitlines()[-1])
    return messages / seconds


def drain_bare(port: int, messages: int) -> float:
    """The naive client: count, and let paho acknowledge."""
    count, started = 0, 0.0

    def on_message(client: mqtt.Client, _userdata: object, _message: mqtt.MQTTMessage) -> None:
        nonlocal count, started
        started = started or time.perf_counter()
        count += 1
        if count >= messages:
            client.disconnect()

    client = mqtt.Client(CallbackAPIVersion.VERSION2, BARE, clean_session=False)
    client.on_message = on_message
    client.connect("127.0.0.1", port)
    client.loop_forever()
    return time.perf_counter() - started


class TimedLink(Link):
    """A link that notes when the first message is read and when the last is acknowledged."""

    first = last = 0.0
    acknowledged = 0

    def _read_bulk(self, sock: socket.socket, most: int) -> bool:
        begun = time.perf_counter()
        more = super()._read_bulk(sock, most)
        if not self.first and self._arrived:
            self.first = begun
        return more

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """As ever, and counted."""
        super().acknowledge(messages)
        self.acknowledged += len(messages)
        self.last = time.perf_counter()


def drain_full(port: int, messages: int, enclosures: int, store: Mapping[str, str]) -> float:
    """The daemon's own parts, as `dewkeep serve` puts them together."""
    settings = Settings.model_validate(
        {"broker": {"port": port, "client_id": FULL}, "store": dict(store)}
    )
    clock: Callable[[], int] = lambda: time.time_ns() // 1_000_000  # noqa: E731
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        database = stack.enter_context(closing(Database(Path(folder) / "dewkeep.db")))
        spans = {"temperature": [15, 35], "humidity": [40, 95]}
        climate = ZoneRange.model_validate({"day": spans, "night": spans, "critical": spans})
        with database.transaction() as connection:
            for n in range(enclosures):
                probes = tuple(Probe(id=f"p{p}", zone=Zone.CANOPY) for p in range(PROBES_EACH))
                place = Enclosure(
                    id=f"e{n}", name=f"E {n}", probe=probes, range={Zone.CANOPY: climate}
                )
                setup.put(connection, place, who="benchmark", now_ms=clock())
        readings = stack.enter_context(opened(settings.store, database))
        pipeline = Pipeline(
            database,
            readings,
            settings,
            load_library(),
            Hub(),
            Rejects(),
            told=lambda: None,
            raised=lambda _alarms: None,
            now_ms=clock(),
        )
        link = TimedLink(settings.broker, [FILTER], "dewkeep-state/bench")
        loop = IngestLoop(link, pipeline, clock)
        loop.start()
        while link.acknowledged < messages:
            time.sleep(0.01)
        loop.stop()
        return link.last - link.first


if __name__ == "__main__":
    main()
