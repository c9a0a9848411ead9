"""The engines side by side: how fast they take readings in, answer, and how much room they need.

    python -m tests.benchmarks.bench_engines [--quick] [--only PART]

Parts: ``ingest`` (a queued backlog, against a bare paho subscriber), ``history`` (questions over a
day, a month and a year, and bytes per reading, with a month, a year and five years behind),
``enclosures`` (10 to 5,000 of them) and ``steady`` (what a large house costs the daemon in everyday
life). Real servers on this machine; every table is filled in one
run, engine by engine in turn, and what counts are its ratios.
"""

import argparse
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import psutil

from monitor.quantities import Quantity
from monitor.setup.settings import StoreSettings
from monitor.store.engines import opened
from monitor.store.readings import Readings, ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.times import DAY_MS
from tests.benchmarks.bench_ingest import BARE, FULL, fill, run_drain, subscribe
from tests.support.daemon import RunningDaemon
from tests.support.engines import Influx, Victoria
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto

END_MS = 1_788_220_800_000
PERIOD_MS = 30_000
PER_DAY = DAY_MS // PERIOD_MS
POINTS = 1_500
CHUNK = 200_000
PATIENCE_S = 10.0
PARTS = ("ingest", "history", "enclosures", "steady")
HOUSE, PROBES = 1_000, 3
ENGINES = ("sqlite", "influxdb", "victoriametrics")


@dataclass(frozen=True)
class Contender:
    """An engine that is running: how it is set up, and the bytes that its readings take."""

    settings: Mapping[str, str]
    size: Callable[[], int]
    pids: Callable[[], Sequence[int]]


def main() -> None:
    """Measure and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a tenth of everything")
    parser.add_argument("--only", choices=PARTS)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--days", type=int, nargs="+", default=[30, 365, 5 * 365])
    options = parser.parse_args()
    scale = 10 if options.quick else 1
    parts = [options.only] if options.only else PARTS
    with tempfile.TemporaryDirectory() as folder:
        if "ingest" in parts:
            ingest(Path(folder), 60_000 // scale, options.rounds)
        if "history" in parts:
            for days in options.days:
                history(Path(folder) / f"days-{days}", days // scale)
        if "enclosures" in parts:
            enclosures(Path(folder), 120_000 // scale, options.rounds)
        if "steady" in parts:
            steady(Path(folder), 120 // scale)


def ingest(folder: Path, messages: int, rounds: int) -> None:
    """Print what each engine takes in, over what a bare subscriber does."""
    print(
        f"\n{messages} messages of 2 readings, 200 probes, queued; messages/s and ratio to bare\n"
    )
    print(f"| round | bare | {' | '.join(ENGINES)} |\n|---|---:|---:|---:|---:|")
    ratios: dict[str, list[float]] = {engine: [] for engine in ENGINES}
    with ExitStack() as stack:
        broker = stack.enter_context(running_broker(folder / "broker"))
        for number in range(rounds):
            for name in (BARE, FULL):
                subscribe(broker.port, name)
            fill(broker.port, messages, enclosures=50)
            bare = run_drain(BARE, broker.port, messages, 50)
            cells = []
            for engine in ENGINES:
                with contender(engine, folder / f"{number}-{engine}") as running:
                    subscribe(broker.port, FULL)
                    fill(broker.port, messages, enclosures=50)
                    rate = run_drain(FULL, broker.port, messages, 50, running.settings)
                ratios[engine].append(rate / bare)
                cells.append(f"{rate:,.0f} ({rate / bare:.2f})")
            print(f"| {number + 1} | {bare:,.0f} | {' | '.join(cells)} |", flush=True)
    medians = [f"**{statistics.median(ratios[engine]):.2f}**" for engine in ENGINES]
    print(f"| median | | {' | '.join(medians)} |")


def history(folder: Path, days: int) -> None:
    """Print what questions cost, and bytes per reading, with so many days of one probe behind."""
    print(f"\n{days} days of temperature and humidity of one probe every 30 s; best of 7, ms\n")
    print(f"| | {' | '.join(ENGINES)} |\n|---|---:|---:|---:|")
    spans = [(name, n) for name, n in (("day", 1), ("month", 30), ("year", 365)) if n <= days]
    asked = [
        (f"{name} of {quantity.replace('_', ' ')}", n, quantity)
        for quantity in (Quantity.TEMPERATURE, Quantity.DEW_POINT)
        for name, n in spans
    ]
    rows: dict[str, list[str]] = {what: [] for what, _, _ in asked}
    rows |= {"bytes per reading": [], "import, us per reading": []}
    for engine in ENGINES:
        with ExitStack() as stack:
            running = stack.enter_context(contender(engine, folder / engine))
            path = folder / f"{engine}.db"
            database = stack.enter_context(closing(Database(path)))
            settings = StoreSettings.model_validate({"path": path, **running.settings})
            store = stack.enter_context(opened(settings, database))
            began = time.perf_counter()
            count = keep(store, days)
            rows["import, us per reading"].append(
                f"{(time.perf_counter() - began) / count * 1e6:.2f}"
            )
            settle(running.size)
            size = running.size() + (path.stat().st_size if engine == "sqlite" else 0)
            rows["bytes per reading"].append(f"{size / count:.1f}")
            for what, n, quantity in asked:
                rows[what].append(f"{1000 * best_time(store, n, quantity):.1f}")
    for what, cells in rows.items():
        print(f"| {what} | {' | '.join(cells)} |", flush=True)


def enclosures(folder: Path, messages: int, rounds: int) -> None:
    """Print how the rate changes with the number of enclosures."""
    numbers = (10, 100, 1_000, 5_000)
    heads = " | ".join(f"{n:,}" for n in numbers)
    print(f"\n{messages} messages of 2 readings by number of enclosures, 4 probes each; messages/s")
    print(f"(ratio to 10 enclosures), best of {rounds}\n")
    print(f"| engine | {heads} |\n|---|---:|---:|---:|---:|")
    with ExitStack() as stack:
        broker = stack.enter_context(running_broker(folder / "growth-broker"))
        for engine in ENGINES:
            rates = dict.fromkeys(numbers, 0.0)
            for number in range(rounds):
                for n in numbers if number % 2 == 0 else numbers[::-1]:
                    with contender(engine, folder / f"growth-{engine}-{number}-{n}") as running:
                        subscribe(broker.port, FULL)
                        fill(broker.port, messages, n)
                        rate = run_drain(FULL, broker.port, messages, n, running.settings)
                        rates[n] = max(rates[n], rate)
            cells = [f"{rates[n]:,.0f} ({rates[n] / rates[10]:.2f})" for n in numbers]
            print(f"| {engine} | {' | '.join(cells)} |", flush=True)


def steady(folder: Path, seconds: int) -> None:
    """Print what `dewkeep serve` needs for a house in which every probe reports every 30 s."""
    rate = HOUSE * PROBES / 30
    print(f"\n{HOUSE:,} enclosures, {PROBES} probes each, {rate:g} messages/s for {seconds} s\n")
    print("| engine | daemon, of one core | daemon, MiB | engine, of one core | engine, MiB |")
    print("|---|---:|---:|---:|---:|")
    for engine in ENGINES:
        with ExitStack() as stack:
            broker = stack.enter_context(running_broker(folder / f"steady-broker-{engine}"))
            running = stack.enter_context(contender(engine, folder / f"steady-{engine}"))
            home = folder / f"steady-daemon-{engine}"
            home.mkdir()
            daemon = RunningDaemon(home, broker.port, setup=house())
            stack.callback(daemon.close)
            daemon.start(**{f"DEWKEEP_STORE__{k.upper()}": v for k, v in running.settings.items()})
            daemon.wait_ready()
            processes = [psutil.Process(daemon.pid), *map(psutil.Process, running.pids())]
            publish(broker.port, rate, 20)  # what happens once is not what is measured
            before = [sum(process.cpu_times()[:2]) for process in processes]
            took = publish(broker.port, rate, seconds)
            cells = [
                f"{(sum(process.cpu_times()[:2]) - spent) / took:.1%} | "
                f"{process.memory_info().rss / 2**20:.0f}"
                for process, spent in zip(processes, before, strict=True)
            ]
            cells += ["in the daemon | "] * (2 - len(cells))
            print(f"| {engine} | {' | '.join(cells)} |", flush=True)


def house() -> str:
    """The set-up of a large house."""
    spans = "{ temperature = [15, 35], humidity = [40, 95] }"
    return "".join(
        f'[[enclosure]]\nid = "e{n}"\nname = "E {n}"\n'
        + "".join(
            f'[[enclosure.probe]]\nid = "p{p}"\nzone = "canopy"\nperiod_s = 30\n'
            for p in range(PROBES)
        )
        + f"[enclosure.range.canopy]\nday = {spans}\nnight = {spans}\n"
        for n in range(HOUSE)
    )


def publish(port: int, rate: float, seconds: float) -> float:
    """Readings of all probes in turn, evenly; the seconds it took."""
    began = time.monotonic()
    with Publisher(port) as publisher:
        for n in range(round(rate * seconds)):
            which = n % (HOUSE * PROBES)
            payload = senml(round(time.time(), 3), 24 + n % 7 / 10, 70 + n % 9)
            publisher.send(f"dewkeep/e{which // PROBES}/p{which % PROBES}", payload)
            time.sleep(max(0.0, began + n / rate - time.monotonic()))
        publisher.flush()
    return time.monotonic() - began


@contextmanager
def running_broker(folder: Path) -> Iterator[Mosquitto]:
    """A mosquitto that does not save after each change: it is not what is measured."""
    folder.mkdir(parents=True)
    broker = Mosquitto(folder, ["autosave_on_changes false"]).start()
    try:
        yield broker
    finally:
        broker.stop()


@contextmanager
def contender(engine: str, folder: Path) -> Iterator[Contender]:
    """An engine, running and empty."""
    folder.mkdir(parents=True)
    if engine == "sqlite":
        yield Contender({}, lambda: 0, tuple)
        return
    server = Influx(folder, cold="1s") if engine == "influxdb" else Victoria(folder)
    server.start()
    try:
        server.create("dewkeep")
        yield Contender({"engine": engine, "url": server.url}, server.size, lambda: [server.pid])
    finally:
        server.close()


def keep(store: ReadingStore, days: int) -> int:
    """Import temperature and humidity as a sensor gives them: a swing, noise, one or two digits."""
    chance = np.random.default_rng(7)
    keys = [SeriesKey("e0", "p0", q) for q in (Quantity.TEMPERATURE, Quantity.HUMIDITY)]
    ids = store.series_ids(keys)
    at_ms = END_MS - days * DAY_MS + PERIOD_MS * np.arange(days * PER_DAY)
    turn = np.sin(2 * np.pi * (at_ms % DAY_MS) / DAY_MS)
    noise = 0.05 * chance.standard_normal((2, len(at_ms)))
    columns = (np.round(24 + 3 * turn + noise[0], 2), np.round(75 - 12 * turn + 4 * noise[1], 1))
    for first in range(0, len(at_ms), CHUNK):
        for series, value in zip(ids, columns, strict=True):
            part = slice(first, first + CHUNK)
            n = len(at_ms[part])
            store.backfill(
                Readings(np.full(n, series), at_ms[part], value[part], np.zeros(n, np.uint8))
            )
    return 2 * len(at_ms)


def settle(size: Callable[[], int]) -> None:
    """Wait until the server has packed what came: its size has not moved for five seconds."""
    before = -1
    while (now := size()) != before:
        before = now
        time.sleep(5)


def best_time(store: ReadingStore, days: int, quantity: Quantity) -> float:
    """Seconds for the last so many days in at most ``POINTS`` buckets.

    The best of several: whatever else runs on the machine can only add to it.
    """
    key = SeriesKey("e0", "p0", quantity)
    times: list[float] = []
    while len(times) < 3 or (len(times) < 7 and sum(times) < PATIENCE_S):
        began = time.perf_counter()
        buckets = store.buckets(key, END_MS - days * DAY_MS, END_MS, POINTS)
        times.append(time.perf_counter() - began)
        if int(buckets.count.sum()) < days * PER_DAY:
            raise RuntimeError(f"{int(buckets.count.sum())} of {days * PER_DAY} readings counted")
    return min(times)


if __name__ == "__main__":
    main()
