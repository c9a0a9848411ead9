"""Measures the pages on the server: from request to the last byte of the answer, compressed.

    python -m tests.benchmarks.bench_page [--enclosures N]

In one process, without a network: what is measured is looking things up, working the page out,
rendering and compressing it. Each page is measured in turn with an empty one (units and colours).
Processor time is given beside the clock's: on a busy machine it is the one that counts.
"""

import argparse
import asyncio
import gc
import gzip
import statistics
import tempfile
import time
from collections.abc import Callable, MutableMapping
from itertools import cycle
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import tomli_w
from fastapi import FastAPI

from monitor.api.app import create_app
from monitor.ingest.link import Message
from monitor.quantities import Quantity
from monitor.setup.journal import Misted, Source
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from monitor.web import pages
from tests.support.publisher import senml
from tests.support.rig import Rig

PROBES = ("canopy", "floor", "substrate")
LIVES = ("correlophus-ciliatus", "ficus-pumila", "trichorhina-tomentosa", "sinella-curviseta")
ROUNDS = 9
EMPTY = "/viewer"
PAGES = {
    "enclosure, a day": "/enclosures/e0",
    "its course alone, as fetched to zoom": "/enclosures/e0/course",
}


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--enclosures", type=int, default=200)
    count = parser.parse_args().enclosures
    with tempfile.TemporaryDirectory() as name, house(Path(name), count) as rig:
        app = create_app(rig.parts)
        pages.install(app)
        gc.collect()
        gc.freeze()  # as the daemon does
        print(f"{count} enclosures, {count * len(PROBES)} probes, a reading a minute\n")
        print("| page | processor, ms | clock, ms | empty pages | KiB sent | KiB of HTML |")
        print("|---|---:|---:|---:|---:|---:|")
        report("room, for the first time", measured(app, "/", rounds=1))
        report("room, nothing new", measured(app, "/"))
        sixths = cycle(range(6))
        report(
            "room, ten seconds later: a sixth heard",
            measured(app, "/", lambda: heard(rig, range(next(sixths), count, 6), 10 * SECOND_MS)),
        )
        report(
            "room, a minute later: every probe heard",
            measured(app, "/", lambda: heard(rig, range(count), MINUTE_MS)),
        )
        for what, address in PAGES.items():
            report(what, measured(app, address))


def house(folder: Path, count: int) -> Rig:
    """A room full of enclosures with a day of readings and mistings."""
    furniture = {
        "enclosure": [
            {
                "id": f"e{number}",
                "name": f"Enclosure {number}",
                "timezone": "Europe/Lisbon",
                "probe": [{"id": each, "zone": each} for each in PROBES],
                "inhabitant": [{"species": each} for each in LIVES],
            }
            for number in range(count)
        ]
    }
    rig = Rig(folder, enclosures=tomli_w.dumps(furniture))
    random = np.random.default_rng(8)
    at_ms = np.arange(rig.now_ms - DAY_MS, rig.now_ms, MINUTE_MS)
    daily = np.cos(2 * np.pi * (at_ms % DAY_MS) / DAY_MS)
    for number in range(count):
        for probe in PROBES:
            for quantity, middle, swing in (
                (Quantity.TEMPERATURE, 23.0, -2.0),
                (Quantity.HUMIDITY, 76.0, 9.0),
            ):
                (series,) = rig.readings.series_ids([SeriesKey(f"e{number}", probe, quantity)])
                value = middle + swing * daily + random.normal(0, 0.2, len(at_ms))
                rig.readings.backfill(
                    Readings(
                        np.full(len(at_ms), series),
                        at_ms,
                        value,
                        np.zeros(len(at_ms), np.uint8),
                    )
                )
        with rig.database.transaction() as connection:
            for hours in (3, 8, 13, 20):
                misted = Misted(at=rig.now_ms - hours * HOUR_MS, kind="misted", seconds=6.0)
                journal.add(connection, f"e{number}", misted, Source.MISTER, rig.now_ms)
    rig.readings.refresh()
    rig.pipeline = rig.new_pipeline()
    return rig


def heard(rig: Rig, numbers: range, after_ms: int) -> None:
    """Time goes by, and every probe of some enclosures reports."""
    rig.now_ms += after_ms
    wobble = rig.now_ms // SECOND_MS % 3 / 10
    payload = senml(rig.now_ms / 1000, 23 + wobble, 78 + wobble)
    topics = (f"dewkeep/e{number}/{probe}" for number in numbers for probe in PROBES)
    rig.pipeline.take([Message(topic, payload, 0, 0, 0) for topic in topics], rig.now_ms)


class Taken(NamedTuple):
    """What an answer took: seconds of the processor and of the clock."""

    processor: float
    clock: float


class Measured(NamedTuple):
    """A page and an empty page, by turns, and the page as it was sent."""

    page: list[Taken]
    empty: list[Taken]
    body: bytes


def measured(
    app: FastAPI, address: str, before: Callable[[], None] = lambda: None, rounds: int = ROUNDS
) -> Measured:
    """Ask for a page so many times; ``before`` is done each time before the clock starts."""
    found = Measured([], [], b"")
    for _ in range(rounds):
        before()
        taken, body = asyncio.run(asked(app, address))
        found.page.append(taken)
        found.empty.append(asyncio.run(asked(app, EMPTY))[0])
        found = found._replace(body=body)
    return found


def report(what: str, found: Measured) -> None:
    """Print a line; the ratio is that of processor times."""
    processor, clock = (statistics.median(times) for times in zip(*found.page, strict=True))
    ratio = processor / statistics.median(taken.processor for taken in found.empty)
    print(
        f"| {what} | {1000 * processor:.0f} | {1000 * clock:.0f} | {ratio:.0f} "
        f"| {len(found.body) / 1024:.0f} | {len(gzip.decompress(found.body)) / 1024:.0f} |"
    )


async def asked(app: FastAPI, address: str) -> tuple[Taken, bytes]:
    """What the whole answer took, and its body."""
    path, _, query = address.partition("?")
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "headers": [(b"host", b"127.0.0.1:8420"), (b"accept-encoding", b"gzip")],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8420),
    }
    body = bytearray()

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start" and message["status"] != 200:
            raise RuntimeError(f"{address} answered {message['status']}")
        body.extend(message.get("body", b""))

    processor, clock = time.process_time(), time.perf_counter()
    await app(scope, receive, send)
    taken = Taken(time.process_time() - processor, time.perf_counter() - clock)
    return taken, bytes(body)


if __name__ == "__main__":
    main()
