"""``dewkeep settling``: has a new build settled, as text or JSON."""

import json
import time
from contextlib import closing

import click

from monitor.analysis.settling import Result, Settling
from monitor.cli.options import Instant, config_option
from monitor.jobs.settling import settling_of, wire
from monitor.setup.settings import Settings
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings

MARKS = {Result.PASS: "yes", Result.FAIL: "no ", Result.UNKNOWN: "?  "}


@click.command("settling")
@click.argument("enclosure")
@click.option("--at", "at_ms", type=Instant(), help="Judge as of this time; default: now.")
@click.option("--json", "as_json", is_flag=True, help="What the API would answer.")
@config_option
def command(enclosure: str, at_ms: int | None, as_json: bool, settings: Settings) -> None:
    """Tell whether ENCLOSURE has settled, criterion by criterion.

    The verdict speaks about the enclosure only: look at the animal.
    """
    at_ms = time.time_ns() // 1_000_000 if at_ms is None else at_ms
    library = load_library(settings.setup.species)
    with closing(Database(settings.store.path)) as database:
        found = settling_of(database, SqliteReadings(database), library, enclosure, at_ms)
    if as_json:
        click.echo(json.dumps(wire(enclosure, found), ensure_ascii=False))
    else:
        click.echo("\n".join(_lines(enclosure, found)))


def _lines(enclosure: str, found: Settling) -> list[str]:
    lines = [f"{enclosure}: {found.verdict}"]
    if found.holds_it_up is not None:
        lines.append(f"  held up by: {found.holds_it_up}")
    if found.earliest is not None:
        lines.append(f"  earliest: {found.earliest.isoformat()}")
    lines += [f"{MARKS[each.result]} {each.says}" for each in found.criteria]
    lines += [f"    {each.says}" for each in found.asides]
    return lines
