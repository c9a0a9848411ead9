"""How long a rehearsal of a year takes: three probes at 30 s, straight from the file.

Run ``python -m tests.benchmarks.bench_rehearsal [--days N]``; it prints the table of
docs/rehearsal.md. Readings are a daily course with noise; every probe loses one report in a
thousand and is silent for an hour once a week. Each share is how much of the time the humidity of
all probes is below its range: the nearer to 1, the more readings are looked at one by one.
"""

import argparse
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from monitor.jobs.rehearser import Rehearser
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.models import Enclosure
from monitor.species.library import load_library
from monitor.store.readings import Floats, Ints, Readings, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup
from monitor.times import DAY_MS, HOUR_MS

START_MS = 1_767_225_600_000
PERIOD_MS = 30_000
WEEK_MS = 7 * DAY_MS
SHARES = (0.0, 0.02, 0.1, 0.5, 1.0)
ZONES = ("canopy", "floor", "warm")
QUANTITIES = (Quantity.TEMPERATURE, Quantity.HUMIDITY)


def enclosure(low: float) -> Enclosure:
    """Three probes, each with a range of humidity from ``low`` on."""
    spans = {"humidity": [low, 100], "temperature": [10, 35]}
    return Enclosure.model_validate(
        {
            "id": "box",
            "name": "Box",
            "probe": [{"id": zone, "zone": zone, "period_s": 30} for zone in ZONES],
            "range": {zone: {"day": spans, "night": spans} for zone in ZONES},
        }
    )


def fill(readings: SqliteReadings, days: int) -> Floats:
    """Store the readings; the humidity's course, of which a quantile is a share of the time."""
    rng = np.random.default_rng(1)
    at_ms = START_MS + PERIOD_MS * np.arange(days * DAY_MS // PERIOD_MS, dtype=np.int64)
    course = 75.0 + 15.0 * np.sin(2 * np.pi * at_ms / DAY_MS)
    for zone in ZONES:
        sent = (rng.random(len(at_ms)) > 0.001) & (at_ms % WEEK_MS > HOUR_MS)
        for quantity, values in ((QUANTITIES[0], 0.2 * course), (QUANTITIES[1], course)):
            (series,) = readings.series_ids([SeriesKey("box", zone, quantity)])
            noisy = np.round(values + rng.normal(0, 0.2, len(at_ms)), 1)
            readings.backfill(_readings(series, at_ms[sent], noisy[sent]))
    return course


def _readings(series: int, at_ms: Ints, value: Floats) -> Readings:
    return Readings(np.full(len(at_ms), series), at_ms, value, np.zeros(len(at_ms), np.uint8))


def main() -> None:
    """Fill a file, rehearse, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=365)
    days = parser.parse_args().days
    with tempfile.TemporaryDirectory() as folder:
        database = Database(Path(folder) / "year.db")
        readings = SqliteReadings(database)
        course = fill(readings, days)
        print("| time below the range | readings | alarms | s |\n| --- | ---: | ---: | ---: |")
        for share in SHARES:
            low = float(np.quantile(course, share)) if share < 1.0 else 99.0
            with database.transaction() as connection:
                setup.put(connection, enclosure(low - (share == 0.0)), who="bench", now_ms=0)
            rehearser = Rehearser(database, readings, load_library(), AlarmSettings())
            end_ms = START_MS + days * DAY_MS
            began = time.perf_counter()
            outcome = rehearser.outcome("box", START_MS, end_ms, end_ms)
            seconds = time.perf_counter() - began
            alarms = len(outcome.sets["unchanged"])
            print(f"| {share:.0%} | {outcome.readings:,} | {alarms:,} | {seconds:.1f} |")
        database.close()
    most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"most memory, filling included: {most_mb:.0f} MiB", file=sys.stderr)


if __name__ == "__main__":
    main()
