"""``dewkeep export``: readings out."""

import time
from pathlib import Path

import click

from monitor.cli.options import Instant, config_option
from monitor.cli.stores import stores
from monitor.cli.tables import CsvTable, ParquetTable
from monitor.errors import Problem, SettingsError
from monitor.quantities import Quantity
from monitor.setup.settings import Settings
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import setup
from monitor.times import DAY_MS, rfc3339

AT_A_TIME_MS = 30 * DAY_MS
TABLES = {"csv": CsvTable, "parquet": ParquetTable}


@click.command("export")
@click.argument("enclosure")
@click.option("--from", "start_ms", type=Instant(), required=True, help="From this time on.")
@click.option("--to", "end_ms", type=Instant(), help="Until before this time; default: now.")
@click.option("--format", "form", type=click.Choice(list(TABLES)), default="csv", show_default=True)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), required=True)
@config_option
def command(
    enclosure: str,
    start_ms: int,
    end_ms: int | None,
    form: str,
    out: Path,
    settings: Settings,
) -> None:
    """Write the readings of ENCLOSURE to a file, one row a reading, derived quantities too.

    `dewkeep import` reads a CSV file again. Parquet keeps times and numbers as such, in a fraction
    of the space; it needs `pip install dewkeep[parquet]`.
    """
    if end_ms is None:
        end_ms = time.time_ns() // 1_000_000
    if start_ms >= end_ms:
        raise click.BadParameter(f"must lie before {rfc3339(end_ms)}", param_hint="--from")
    with stores(settings) as (database, readings):
        with database.reading() as connection:
            place = setup.get(connection, enclosure).place
        keys = [SeriesKey(enclosure, probe.id, q) for probe in place.probe for q in Quantity]
        count = 0
        try:
            with TABLES[form](out) as table, click.progressbar(keys, label=out.name) as bar:
                for key in bar:
                    for part_ms in range(start_ms, end_ms, AT_A_TIME_MS):
                        until_ms = min(part_ms + AT_A_TIME_MS, end_ms)
                        track = readings.track(key, part_ms, until_ms)
                        table.write(key, track)
                        count += len(track)
        except OSError as exc:
            says = f"cannot be written: {exc.strerror}"
            raise SettingsError([Problem(str(out), "", says)]) from exc
    click.echo(f"{count} readings written to {out}")
