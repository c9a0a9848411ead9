"""``dewkeep settling``: has a new build settled, as text or JSON."""

import json
import time
from pathlib import Path

import click

from monitor.analysis.settling import Result
from monitor.cli.options import Instant, config_option
from monitor.cli.stores import stores
from monitor.errors import Problem, SettingsError
from monitor.jobs.settling import Assessed, Assessor, wire
from monitor.setup.settings import Settings
from monitor.setup.settling import DEFAULT
from monitor.species.library import load_library
from monitor.web.settling_report import page

MARKS = {Result.PASS: "yes", Result.FAIL: "no ", Result.UNKNOWN: "?  "}


@click.command("settling")
@click.argument("enclosure")
@click.option("--at", "at_ms", type=Instant(), help="Judge as of this time; default: now.")
@click.option(
    "--report",
    "file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the report for printing to this HTML file.",
)
@click.option("--json", "as_json", is_flag=True, help="What the API would answer.")
@config_option
def command(
    enclosure: str, at_ms: int | None, file: Path | None, as_json: bool, settings: Settings
) -> None:
    """Tell whether ENCLOSURE has settled, criterion by criterion.

    The verdict speaks about the enclosure only: look at the animal.
    """
    at_ms = time.time_ns() // 1_000_000 if at_ms is None else at_ms
    library = load_library(settings.setup.species)
    with stores(settings) as (database, readings):
        assessor = Assessor(database, readings, library, settings.settling.limits)
        assessed = assessor.assess(enclosure, at_ms)
    if file is not None:
        _write(file, page(assessed, library, alone=True))
    if as_json:
        click.echo(json.dumps(wire(assessed), ensure_ascii=False))
    else:
        click.echo("\n".join(_lines(assessed)))


def _write(file: Path, text: str) -> None:
    try:
        file.write_text(text, encoding="utf-8")
    except OSError as exc:
        says = f"cannot be written: {exc.strerror}"
        raise SettingsError([Problem(str(file), "", says)]) from exc


def _lines(assessed: Assessed) -> list[str]:
    found, limits = assessed.settling, assessed.limits
    lines = [f"{assessed.enclosure.id}: {found.verdict}"]
    if found.holds_it_up is not None:
        lines.append(f"  held up by: {found.holds_it_up}")
    if found.earliest is not None:
        lines.append(f"  earliest: {found.earliest.isoformat()}")
    lines += [f"{MARKS[each.result]} {each.says}" for each in found.criteria]
    lines += [f"    {each.says}" for each in found.asides]
    own = [
        f"{name} {value:g} ({limits.origin[name]})"
        for name, value in limits.values.model_dump().items()
        if limits.origin[name] != DEFAULT
    ]
    lines.append(f"limits: {', '.join(own)}; all others default" if own else "limits: default")
    return lines
