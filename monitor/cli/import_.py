"""``dewkeep import``: old logs in."""

import datetime as dt
import time
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import click
import numpy as np

from monitor.cli.options import config_option
from monitor.errors import NotFound
from monitor.ingest import csv_log
from monitor.judge import Memory, Rules, judge
from monitor.quantities import Quantity
from monitor.setup.models import Correction, Enclosure, Probe
from monitor.setup.settings import Settings
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--probe", "address", required=True, metavar="ENCLOSURE/PROBE", help="Whose log.")
@click.option("--time", "time_column", help="Column of the time (RFC 3339, or epoch seconds).")
@click.option("--temperature", help="Column of the temperature, °C.")
@click.option("--humidity", help="Column of the relative humidity, %.")
@config_option
def command(
    file: Path,
    address: str,
    time_column: str | None,
    temperature: str | None,
    humidity: str | None,
    settings: Settings,
) -> None:
    """Read a CSV log into the history of a probe.

    Its columns are separated by comma, semicolon or tab, numbers have a decimal point. Columns are
    found by their names (time, temperature, humidity) unless they are given. A time without an
    offset is taken in the enclosure's time zone. Readings that are there already stay; reading a
    file twice changes nothing. Old readings raise no alarms.

    What `dewkeep export` wrote is read too; its values are not corrected a second time.
    """
    layout = csv_log.layout_of(
        file, time_column, {Quantity.TEMPERATURE: temperature, Quantity.HUMIDITY: humidity}
    )
    report = csv_log.Report()
    new = there = 0
    with closing(Database(settings.store.path)) as database:
        place, probe, zone = _probe(database, address)
        readings = SqliteReadings(database)
        keys = {q: SeriesKey(place, probe.id, q) for q in layout.quantities}
        ids = dict(zip(keys, readings.series_ids(list(keys.values())), strict=True))
        calibration = {} if layout.exported else probe.calibration
        rules = Rules.compiled(
            {series: quantity for quantity, series in ids.items()},
            {ids[q]: calibration.get(q, Correction()) for q in ids},
            settings.judge,
        )
        memory = Memory(len(rules.rows))
        now_ms = time.time_ns() // 1_000_000
        with click.progressbar(length=file.stat().st_size, label=file.name) as bar:
            for part in csv_log.read(file, layout, probe.id, zone, now_ms, report):
                verdict = judge(rules, memory, _columns(part, ids), now_ms)
                for quantity, values in part.values.items():
                    fresh = _fresh(readings, keys[quantity], [at_ms for at_ms, _ in values])
                    new, there = new + fresh, there + len(values) - fresh
                readings.backfill(verdict.readings)
                memory.learn(verdict.lesson)
                bar.update(part.bytes_read - bar.pos)
    again = f", {there} were there already" if there else ""
    click.echo(f"{new} new readings from {report.rows} rows of {file.name}{again}")
    if not layout.exported:
        heads = ", ".join(f"{q} from {head!r}" for q, head in layout.heads.items())
        click.echo(f"time from {layout.time!r}, {heads}")
    for reason, count in report.skipped.most_common():
        click.echo(f"left out: {count} x {reason}")
    for example in report.examples:
        click.echo(f"  {example}")


def _columns(part: csv_log.Part, ids: Mapping[Quantity, int]) -> Readings:
    rows = [
        (ids[quantity], at_ms, value)
        for quantity, pairs in part.values.items()
        for at_ms, value in pairs
    ]
    series, at_ms, value = zip(*rows, strict=True) if rows else ((), (), ())
    return Readings(
        np.array(series, np.int64),
        np.array(at_ms, np.int64),
        np.array(value, np.float64),
        np.zeros(len(rows), np.uint8),
    )


def _fresh(readings: SqliteReadings, key: SeriesKey, times: list[int]) -> int:
    """How many of these times the series does not have yet."""
    if not times:
        return 0
    known = readings.track(key, min(times), max(times) + 1).at_ms
    return len(np.setdiff1d(times, known))


def _probe(database: Database, address: str) -> tuple[str, Probe, dt.tzinfo]:
    place_id, _, probe_id = address.partition("/")
    with database.reading() as connection:
        place = setup.get(connection, place_id).place
    for probe in place.probe:
        if probe.id == probe_id:
            return place_id, probe, place.zone_info if isinstance(place, Enclosure) else dt.UTC
    known = ", ".join(f"{place_id}/{probe.id}" for probe in place.probe) or "none yet"
    raise NotFound(f"--probe {address!r}: no such probe; there are: {known}")
