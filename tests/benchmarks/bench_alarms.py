"""What an alarm step costs: quiet and busy readings, small batches, a rehearsal of a year.

Run from the top of the repository: ``python -m tests.benchmarks.bench_alarms``. Figures are the
best of several rounds, one step and its commit, on one core.
"""

import datetime as dt
import sys
import time
from collections.abc import Callable, Sequence

import numpy as np

from monitor.alarms.desk import AlarmDesk
from monitor.alarms.rules import compile_rules
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.models import Enclosure, Probe, Setup, Spans, Zone, ZoneRange
from monitor.store.readings import Floats, Ints, Readings, SeriesKey
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS

QUANTITIES = (Quantity.TEMPERATURE, Quantity.HUMIDITY)
WANTED = ZoneRange(
    day=Spans.model_validate({"temperature": [22, 26], "humidity": [60, 80]}),
    night=Spans.model_validate({"temperature": [20, 24], "humidity": [70, 95]}),
    critical=Spans.model_validate({"temperature": [10, 32], "humidity": [35, 100]}),
)
START_MS = 20_000 * DAY_MS + 12 * HOUR_MS


def desk_of(enclosures: int) -> AlarmDesk:
    """A desk over enclosures of one probe each, with sixty different timers.

    Series ids count from 0: temperature and humidity of the first enclosure, then of the next.
    """
    one = Enclosure(
        id="e",
        name="Enclosure",
        timezone="Europe/Lisbon",
        probe=(Probe(id="canopy", zone=Zone.CANOPY),),
    )
    setup = Setup.model_construct(
        enclosure=tuple(
            one.model_copy(
                update={
                    "id": f"e{n}",
                    "lights_on": dt.time(7, n % 60),
                    "lights_off": dt.time(19 + n % 3, 30),
                }
            )
            for n in range(enclosures)
        )
    )
    ranges = {(enclosure.id, Zone.CANOPY): WANTED for enclosure in setup.enclosure}
    keys = [SeriesKey(e.id, "canopy", quantity) for e in setup.enclosure for quantity in QUANTITIES]
    desk, _ = AlarmDesk.load(
        compile_rules(setup, ranges, AlarmSettings()),
        memories={},
        alarms=[],
        last_used={},
        series={key: n for n, key in enumerate(keys)},
        now_ms=START_MS,
    )
    return desk


def readings(series: Ints, at_ms: Ints, value: Floats) -> Readings:
    """Good readings."""
    return Readings(series, at_ms, value, np.zeros(len(series), dtype=np.uint8))


def batches(
    size: int, count: int, humidity: Callable[[int], float], first: int = 0
) -> list[Readings]:
    """Rounds of readings a minute apart, temperature and humidity of as many enclosures as fit."""
    series = np.arange(size)
    made = []
    for n in range(first, first + count):
        value = np.where(series % 2 == 0, 23.0, humidity(n))
        made.append(readings(series, np.full(size, START_MS + n * MINUTE_MS), value))
    return made


def best_s(desk: AlarmDesk, steps: Sequence[Readings]) -> float:
    """The fastest of some steps with their commits, in seconds."""
    best = float("inf")
    for n, batch in enumerate(steps):
        began = time.perf_counter()
        desk.commit(desk.step(batch, START_MS + n))
        best = min(best, time.perf_counter() - began)
    return best


def year_of_readings(share_dry: float) -> Readings:
    """A million readings of two series in a year, humidity dry for a share of every day."""
    count = 500_000
    at_ms = np.repeat(START_MS + np.arange(count) * (365 * DAY_MS // count), 2)
    series = np.tile(np.arange(2), count)
    dry = (at_ms % DAY_MS) / DAY_MS < share_dry
    noise = np.random.default_rng(7).normal(0, 0.3, 2 * count)
    return readings(series, at_ms, np.where(series == 0, 23.0, np.where(dry, 50.0, 75.0)) + noise)


def main() -> None:
    """Measure and print one table."""
    began = time.perf_counter()
    desk = desk_of(4000)
    load_s = time.perf_counter() - began
    rows: list[tuple[str, int, float, float]] = []

    def add(what: str, size: int, steps: Sequence[Readings]) -> None:
        seconds = best_s(desk, steps)
        rows.append((what, size, seconds * 1e6, seconds / size * 1e9))

    add("quiet", 4000, batches(4000, 50, lambda _: 70.0))
    add("quiet", 20, batches(20, 200, lambda _: 70.0, first=50))
    add("half beyond, pending", 4000, batches(4000, 10, lambda n: 50 - n / 1000, first=300))
    add("half beyond, raised", 4000, batches(4000, 1, lambda _: 50.0, first=330))
    add("half beyond, standing", 4000, batches(4000, 10, lambda _: 50.0, first=340))
    add("half clear, returned", 4000, batches(4000, 6, lambda _: 70.0, first=360)[5:])
    add("half beyond, standing", 20, batches(20, 100, lambda _: 50.0, first=400)[30:])

    for share in (0.0, 0.1, 1.0):
        year = year_of_readings(share)
        began = time.perf_counter()
        events = desk_of(1).step(year, START_MS).events
        seconds = time.perf_counter() - began
        what = f"rehearsal, {share:.0%} of the day dry ({len(events)} events)"
        rows.append((what, len(year), seconds * 1e6, seconds / len(year) * 1e9))

    sys.stdout.write(f"rules and desk of 4000 enclosures made in {load_s:.2f} s\n")
    sys.stdout.write(f"{'what':<50}{'readings':>10}{'us a step':>13}{'ns a reading':>14}\n")
    for what, size, us, ns in rows:
        sys.stdout.write(f"{what:<50}{size:>10}{us:>13,.0f}{ns:>14,.0f}\n")


if __name__ == "__main__":
    main()
