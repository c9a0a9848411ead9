"""``dewkeep export``: readings out."""

import csv
import time
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import Protocol

import click

from monitor.cli.options import Instant, config_option
from monitor.quality import Reason
from monitor.quantities import DERIVED_UNITS, Quantity, unit_of
from monitor.setup.settings import Settings
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup
from monitor.times import DAY_MS, rfc3339


class _Writer(Protocol):
    def writerow(self, row: Iterable[object], /) -> object: ...


HEADS = ("time", "probe", "quantity", "value", "unit", "quality", "reason")


@click.command("export")
@click.argument("enclosure")
@click.option("--from", "start_ms", type=Instant(), required=True, help="From this time on.")
@click.option("--to", "end_ms", type=Instant(), help="Until before this time; default: now.")
@click.option(
    "--format", type=click.Choice(["csv"]), default="csv", show_default=True, expose_value=False
)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False, writable=True), required=True
)
@config_option
def command(
    enclosure: str,
    start_ms: int,
    end_ms: int | None,
    out: Path,
    settings: Settings,
) -> None:
    """Write the readings of ENCLOSURE to a file, one row a reading, derived quantities too."""
    end_ms = end_ms or time.time_ns() // 1_000_000
    with closing(Database(settings.store.path)) as database:
        with database.reading() as connection:
            place = setup.get(connection, enclosure).place
        readings = SqliteReadings(database)
        keys = [SeriesKey(enclosure, probe.id, q) for probe in place.probe for q in Quantity]
        days = range(start_ms, end_ms, DAY_MS)
        with out.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(HEADS)
            rows = 0
            with click.progressbar(keys, label=out.name) as bar:
                for key in bar:
                    for day_ms in days:
                        rows += _write(writer, readings, key, day_ms, min(day_ms + DAY_MS, end_ms))
    click.echo(f"{rows} readings written to {out}")


def _write(
    writer: _Writer, readings: SqliteReadings, key: SeriesKey, start_ms: int, end_ms: int
) -> int:
    track = readings.track(key, start_ms, end_ms)
    for at_ms, value, code in zip(
        track.at_ms.tolist(), track.value.tolist(), track.reason.tolist(), strict=True
    ):
        reason = Reason(code)
        writer.writerow(
            (
                rfc3339(at_ms),
                key.probe,
                key.quantity,
                # Derived values have no digits of their own; measured ones stay as they came.
                round(value, 4) if key.quantity in DERIVED_UNITS else value,
                unit_of(key.quantity),
                reason.quality,
                "" if reason is Reason.OK else reason.name.lower(),
            )
        )
    return len(track)
