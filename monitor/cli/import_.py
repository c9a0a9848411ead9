"""``dewkeep import``: old logs in."""

import csv
import datetime as dt
import hashlib
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TextIO

import click
import numpy as np

from monitor.cli.options import Zone, config_option
from monitor.cli.stores import stores
from monitor.errors import NotFound, PayloadError
from monitor.ingest import csv_log
from monitor.judge import Memory, Rules, judge
from monitor.quantities import Quantity
from monitor.setup.models import Correction, Enclosure, Probe
from monitor.setup.settings import Settings
from monitor.store.readings import Readings, ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import imports, setup

FINGERPRINT_BYTES = 1 << 20


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--probe", "address", required=True, metavar="ENCLOSURE/PROBE", help="Whose log.")
@click.option("--time", "time_column", help="Column of the time (RFC 3339, or epoch seconds).")
@click.option("--time-format", help='How times are written instead, as "%d.%m.%Y %H:%M".')
@click.option("--timezone", type=Zone(), help="Zone of times without an offset.")
@click.option("--temperature", help="Column of the temperature, °C.")
@click.option("--humidity", help="Column of the relative humidity, %.")
@click.option(
    "--report",
    "report_file",
    type=click.File("w", encoding="utf-8", lazy=True),
    help="File to list every line that is left out, as CSV.",
)
@config_option
def command(
    file: Path,
    address: str,
    time_column: str | None,
    time_format: str | None,
    timezone: dt.tzinfo | None,
    temperature: str | None,
    humidity: str | None,
    report_file: TextIO | None,
    settings: Settings,
) -> None:
    """Read a CSV log into the history of a probe.

    Its columns are separated by comma, semicolon or tab; between the latter two, numbers may have a
    decimal comma. Columns are found by their names (time, temperature, humidity) unless they are
    given. A time without an offset is taken in the enclosure's time zone, unless another is given.
    Readings that are there already stay; reading a file twice changes nothing. Old readings raise
    no alarms. What was interrupted goes on where it stopped when it is run again.

    What `dewkeep export` wrote is read too; its values are not corrected a second time.
    """
    layout = csv_log.layout_of(
        file, time_column, {Quantity.TEMPERATURE: temperature, Quantity.HUMIDITY: humidity}
    )
    report = csv_log.Report() if report_file is None else csv_log.Report(_listing(report_file))
    new = there = 0
    with stores(settings) as (database, readings):
        place, probe, zone = _probe(database, address)
        clock = csv_log.Clock(timezone or zone, time_format)
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
        name = _fingerprint(file, address, layout, str(timezone or zone), time_format)
        with database.reading() as connection:
            done = imports.done(connection, name)
        if done:
            click.echo(f"going on after row {done}, where it stopped before")
        with click.progressbar(length=file.stat().st_size, label=file.name) as bar:
            for part in csv_log.read(file, layout, probe.id, clock, now_ms, report):
                # What is in already is judged again: the rows after it follow from it.
                verdict = judge(rules, memory, _columns(part, ids), now_ms)
                if report.rows > done:
                    for quantity, values in part.values.items():
                        fresh = _fresh(readings, keys[quantity], [at_ms for at_ms, _ in values])
                        new, there = new + fresh, there + len(values) - fresh
                    readings.backfill(verdict.readings)
                    with database.transaction() as connection:
                        imports.note(connection, name, report.rows)
                memory.learn(verdict.lesson)
                bar.update(part.bytes_read - bar.pos)
        with database.transaction() as connection:
            imports.forget(connection, name)
    again = f", {there} were there already" if there else ""
    click.echo(f"{new} new readings from {report.rows} rows of {file.name}{again}")
    if not layout.exported:
        heads = ", ".join(f"{q} from {head!r}" for q, head in layout.heads.items())
        click.echo(f"time from {layout.time!r}, {heads}")
    if report.decimal_commas:
        click.echo(f"{report.decimal_commas} numbers with a decimal comma")
    for reason, count in report.skipped.most_common():
        click.echo(f"left out: {count} x {reason}")
    for example in report.examples:
        click.echo(f"  {example}")


def _listing(file: TextIO) -> Callable[[int, PayloadError], object]:
    """Writes down what is left out."""
    writer = csv.writer(file)
    writer.writerow(("line", "reason", "says"))
    return lambda line, why: writer.writerow((line, why.reason, why.says))


def _fingerprint(file: Path, *read_as: object) -> str:
    """Tells apart what is read, and how."""
    digest = hashlib.sha256(repr((file.stat().st_size, read_as)).encode())
    with file.open("rb") as opened:
        digest.update(opened.read(FINGERPRINT_BYTES))
    return digest.hexdigest()


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


def _fresh(readings: ReadingStore, key: SeriesKey, times: list[int]) -> int:
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
