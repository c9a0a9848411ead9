"""Measures the pages on the server: from request to the last byte of the answer, compressed.

    python -m tests.benchmarks.bench_page [--enclosures N]
    python -m tests.benchmarks.bench_page --year

In one process, without a network: what is measured is looking things up, working the page out,
rendering and compressing it. Each page is measured in turn with an empty one (units and colours).
Processor time is given beside the clock's: on a busy machine it is the one that counts.

``--year`` fills in a year of 50 enclosures and opens the courses of one in a Chromium on a phone's
screen: until the first thing is painted, and until the page with its chart is whole.
"""

import argparse
import asyncio
import gc
import gzip
import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, MutableMapping
from contextlib import contextmanager
from itertools import cycle
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import tomli_w
import uvicorn
from fastapi import FastAPI
from selenium.webdriver.remote.webdriver import WebDriver

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
from tests.support.servers import free_port
from tests.web.chromium import chromium

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
    parser.add_argument("--year", action="store_true")
    told = parser.parse_args()
    if told.year:
        year()
        return
    count = told.enclosures
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


def year() -> None:
    """A year of 50 enclosures, seen by a browser."""
    with tempfile.TemporaryDirectory() as name, house(Path(name), 50, 365, 5) as rig:
        app = create_app(rig.parts)
        pages.install(app)
        size = sum(file.stat().st_size for file in Path(name).iterdir()) / 1e6
        print(f"50 enclosures, 150 probes, a year of readings every 5 minutes, {size:.0f} MB\n")
        print("| page | first painted, ms | whole, ms | KiB sent |\n|---|---:|---:|---:|")
        with served(app) as address:
            browser = chromium()
            span = f"from={rig.now_ms - 365 * DAY_MS}&to={rig.now_ms}"
            for what, page in (
                ("courses of a day", "/enclosures/e7"),
                ("courses of a year", f"/enclosures/e7?{span}"),
                ("dew point of a year", f"/enclosures/e7?quantity=dew_point&{span}"),
            ):
                shown = [opened(browser, address + page) for _ in range(ROUNDS)]
                painted, whole, sent = (
                    statistics.median(each) for each in zip(*shown, strict=True)
                )
                print(f"| {what} | {painted:.0f} | {whole:.0f} | {sent / 1024:.0f} |")
            browser.quit()


def opened(browser: WebDriver, address: str) -> tuple[float, float, float]:
    """Milliseconds until the first paint and until all is loaded, and the bytes that were sent."""
    browser.get(address)
    found: tuple[float, float, float] = browser.execute_async_script(
        "const done = arguments[arguments.length - 1];"
        "new PerformanceObserver((list) => {"
        " const [page] = performance.getEntriesByType('navigation');"
        " const all = [page, ...performance.getEntriesByType('resource')];"
        " const sent = all.reduce((sum, each) => sum + each.transferSize, 0);"
        " done([list.getEntries()[0].startTime, page.loadEventEnd, sent]);"
        "}).observe({type: 'paint', buffered: true})"
    )
    return found


@contextmanager
def served(app: FastAPI) -> Iterator[str]:
    """The pages on a free port of this machine."""
    port = free_port()
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_config=None, lifespan="off"))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{port}"
    finally:
        app.state.parts.hub.end()
        server.should_exit = True
        thread.join()


def house(folder: Path, count: int, days: int = 1, every_min: int = 1) -> Rig:
    """A room full of enclosures with some days of readings, and mistings in the last."""
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
    at_ms = np.arange(rig.now_ms - days * DAY_MS, rig.now_ms, every_min * MINUTE_MS)
    daily = np.cos(2 * np.pi * (at_ms % DAY_MS) / DAY_MS)
    for number in range(count):
        for probe in PROBES:
            for quantity, middle, swing in (
                (Quantity.TEMPERATURE, 23.0, -2.0),
                (Quantity.HUMIDITY, 76.0, 9.0),
            ):
                (series,) = rig.readings.series_ids([SeriesKey(f"e{number}", probe, quantity)])
                value = (middle + swing * daily + random.normal(0, 0.2, len(at_ms))).round(2)
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
