"""``dewkeep import``: old logs in."""

import datetime as dt
import time
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

    Columns are found by their names (time, temperature, humidity) unless they are given. A time
    without an offset is taken in the enclosure's time zone. Readings that are there already stay;
    reading a file twice changes nothing. Old readings raise no alarms.
    """
    named = {Quantity.TEMPERATURE: temperature, Quantity.HUMIDITY: humidity}
    columns = csv_log.columns_of(file, time_column, named)
    report = csv_log.Report()
    with closing(Database(settings.store.path)) as database:
        place, probe, zone = _probe(database, address)
        readings = SqliteReadings(database)
        ids = dict(
            zip(
                columns.quantities,
                readings.series_ids([SeriesKey(place, probe.id, q) for q in columns.quantities]),
                strict=True,
            )
        )
        rules = Rules.compiled(
            {series: quantity for quantity, series in ids.items()},
            {ids[q]: probe.calibration.get(q, Correction()) for q in ids},
            settings.judge,
        )
        memory = Memory(len(rules.rows))
        with click.progressbar(length=file.stat().st_size, label=file.name) as bar:
            for part in csv_log.read(file, columns, zone, report):
                columns_read = _columns(part, ids)
                verdict = judge(rules, memory, columns_read, time.time_ns() // 1_000_000)
                readings.backfill(verdict.readings)
                memory.learn(verdict.lesson)
                bar.update(part.bytes_read - bar.pos)
    click.echo(f"{report.readings} readings from {report.rows} rows of {file.name}")
    for reason, count in report.skipped.most_common():
        click.echo(f"left out: {count} x {reason}")
    for example in report.examples:
        click.echo(f"  {example}")


def _columns(part: csv_log.Part, ids: dict[Quantity, int]) -> Readings:
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


def _probe(database: Database, address: str) -> tuple[str, Probe, dt.tzinfo]:
    place_id, _, probe_id = address.partition("/")
    with database.reading() as connection:
        place = setup.get(connection, place_id).place
    for probe in place.probe:
        if probe.id == probe_id:
            return place_id, probe, place.zone_info if isinstance(place, Enclosure) else dt.UTC
    known = ", ".join(f"{place_id}/{probe.id}" for probe in place.probe) or "none yet"
    raise NotFound(f"--probe {address!r}: no such probe; there are: {known}")
