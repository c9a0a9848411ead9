"""How long an enclosure takes to assess: from arrays, from the store, and drawn as a report.

python -m tests.benchmarks.bench_settling
"""

import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np

from monitor.analysis.settling import Build, assess
from monitor.jobs.settling import Assessor
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure
from monitor.species.library import load_library
from monitor.species.ranges import Zone
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup
from monitor.web.settling_report import page
from tests.analysis.settling.plain import bloom, build, probe

YEAR, NINE_WEEKS = 365, 63
ZONES = (Zone.CANOPY, Zone.FLOOR, Zone.SUBSTRATE)
ROUNDS = 5


def main() -> None:
    """Measure and print."""
    for period_s in (30.0, 300.0):
        year, weeks = (_build(days, period_s) for days in (YEAR, NINE_WEEKS))
        values = 2 * sum(len(each.humidity.at_ms) for each in year.probes)
        took = _best(lambda: assess(year)), _best(lambda: assess(weeks))  # noqa: B023
        print(
            f"{YEAR} days, {len(ZONES)} probes every {period_s:g} s ({values:,} values): "
            f"{took[0]:.2f} s, {took[0] / took[1]:.1f} times as long as {NINE_WEEKS} days"
        )
    with tempfile.TemporaryDirectory() as folder:
        _from_store(Path(folder), _build(YEAR, 30.0))


def _build(days: int, period_s: float) -> Build:
    probes = [
        probe(days, zone=zone, id_=zone.value, period_s=period_s, seed=number)
        for number, zone in enumerate(ZONES)
    ]
    return build(days, probes, bloom(days))


def _from_store(folder: Path, year: Build) -> None:
    """The same year, read from the store as the daemon does, and drawn."""
    library = load_library()
    tank = Enclosure.model_validate(
        {
            "id": "tank",
            "name": "Tank",
            "built_on": year.built_on,
            "probe": [{"id": each.id, "zone": each.zone, "period_s": 30} for each in year.probes],
        }
    )
    with closing(Database(folder / "year.db")) as database:
        readings = SqliteReadings(database)
        with database.transaction() as connection:
            setup.put(connection, tank, who="benchmark", now_ms=0)
        for each in year.probes:
            for quantity, told in (
                (Quantity.TEMPERATURE, each.temperature),
                (Quantity.HUMIDITY, each.humidity),
            ):
                (series,) = readings.series_ids([SeriesKey("tank", each.id, quantity)])
                count = len(told.at_ms)
                readings.backfill(
                    Readings(
                        np.full(count, series), told.at_ms, told.value, np.zeros(count, np.uint8)
                    )
                )
        assessor = Assessor(database, readings, library, {})
        assessed = assessor.assess("tank", year.at_ms)
        both = _best(lambda: assessor.assess("tank", year.at_ms))
        drawn = _best(lambda: page(assessed, library))
        print(f"read from the store and assessed: {both:.2f} s; drawn as a report: {drawn:.2f} s")


def _best(work: Callable[[], object]) -> float:
    taken = []
    for _ in range(ROUNDS):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


if __name__ == "__main__":
    main()
