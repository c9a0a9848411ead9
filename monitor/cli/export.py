"""``dewkeep export``: readings out."""

import csv
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import click

from monitor.cli.options import Instant, config_option
from monitor.errors import Problem, SettingsError
from monitor.ingest.csv_log import EXPORTED
from monitor.quality import Reason
from monitor.quantities import DERIVED_UNITS, Quantity, unit_of
from monitor.setup.settings import Settings
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup
from monitor.times import DAY_MS, rfc3339

AT_A_TIME_MS = 30 * DAY_MS


@click.command("export")
@click.argument("enclosure")
@click.option("--from", "start_ms", type=Instant(), required=True, help="From this time on.")
@click.option("--to", "end_ms", type=Instant(), help="Until before this time; default: now.")
@click.option(
    "--format", type=click.Choice(["csv"]), default="csv", show_default=True, expose_value=False
)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), required=True)
@config_option
def command(
    enclosure: str,
    start_ms: int,
    end_ms: int | None,
    out: Path,
    settings: Settings,
) -> None:
    """Write the readings of ENCLOSURE to a file, one row a reading, derived quantities too.

    `dewkeep import` reads the file again.
    """
    if end_ms is None:
        end_ms = time.time_ns() // 1_000_000
    if start_ms >= end_ms:
        raise click.BadParameter(f"must lie before {rfc3339(end_ms)}", param_hint="--from")
    with closing(Database(settings.store.path)) as database:
        with database.reading() as connection:
            place = setup.get(connection, enclosure).place
        readings = SqliteReadings(database)
        keys = [SeriesKey(enclosure, probe.id, q) for probe in place.probe for q in Quantity]
        count = 0
        try:
            with out.open("w", newline="", encoding="utf-8") as file:
                writer = csv.writer(file)
                writer.writerow(EXPORTED)
                with click.progressbar(keys, label=out.name) as bar:
                    for key in bar:
                        for row in _rows(readings, key, start_ms, end_ms):
                            writer.writerow(row)
                            count += 1
        except OSError as exc:
            says = f"cannot be written: {exc.strerror}"
            raise SettingsError([Problem(str(out), "", says)]) from exc
    click.echo(f"{count} readings written to {out}")


def _rows(
    readings: SqliteReadings, key: SeriesKey, start_ms: int, end_ms: int
) -> Iterator[tuple[object, ...]]:
    for part_ms in range(start_ms, end_ms, AT_A_TIME_MS):
        track = readings.track(key, part_ms, min(part_ms + AT_A_TIME_MS, end_ms))
        for at_ms, value, code in zip(
            track.at_ms.tolist(), track.value.tolist(), track.reason.tolist(), strict=True
        ):
            reason = Reason(code)
            yield (
                rfc3339(at_ms),
                key.probe,
                key.quantity,
                # Derived values have no digits of their own; measured ones stay as they came.
                round(value, 4) if key.quantity in DERIVED_UNITS else value,
                unit_of(key.quantity),
                reason.quality,
                "" if reason is Reason.OK else reason.name.lower(),
            )
