"""``dewkeep misting``: what the log says about misting, and what it proposes."""

import json
import time
from pathlib import Path

import click

from monitor.analysis.misting.text import CAUTION, assessment_lines, follow_up_lines
from monitor.cli.options import Instant, config_option
from monitor.cli.stores import stores
from monitor.jobs.misting import MistingDesk, MistingReport, wire
from monitor.setup.settings import Settings
from monitor.species.library import load_library


@click.command("misting")
@click.argument("enclosure")
@click.option("--at", "at_ms", type=Instant(), help="Judge as of this time; default: now.")
@click.option("--probe", help="Judge by this probe; default: the one that knows most.")
@click.option("--json", "as_json", is_flag=True, help="What the API would answer.")
@click.option(
    "--ics",
    type=click.Path(path_type=Path, dir_okay=False, writable=True),
    help="Write a plan into this file as a calendar, from tomorrow on.",
)
@click.option(
    "--plan",
    "number",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    help="Which plan goes into the calendar.",
)
@config_option
def command(
    enclosure: str,
    at_ms: int | None,
    probe: str | None,
    as_json: bool,
    ics: Path | None,
    number: int,
    settings: Settings,
) -> None:
    """Tell how the air of ENCLOSURE dries after misting, and propose schedules.

    A proposal, never a command: nothing drives a mister.
    """
    now_ms = time.time_ns() // 1_000_000
    library = load_library(settings.setup.species)
    with stores(settings) as (database, readings):
        desk = MistingDesk(database, readings, library)
        report = desk.report(enclosure, now_ms if at_ms is None else at_ms, probe)
    if as_json:
        click.echo(json.dumps(wire(report), ensure_ascii=False))
    else:
        click.echo("\n".join(_lines(report)))
    if ics is not None:
        ics.write_bytes(report.calendar(number, now_ms).encode())


def _lines(report: MistingReport) -> list[str]:
    place = report.enclosure
    by = f" (by probe {report.probe.id})" if report.probe is not None else ""
    lines = [f"{place.name}{by}"]
    lines += [f"  {line}" for line in assessment_lines(report.assessment, report.goal)]
    if report.follow_up is not None:
        lines += [f"  {line}" for line in follow_up_lines(report.follow_up, place.zone_info)]
    return [*lines, "", CAUTION]
