"""``dewkeep rehearse``: which alarms a set-up would have raised over what was recorded."""

import datetime as dt
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from monitor.alarms.outcome import CHANGED, RAISED, UNCHANGED, Outcome, wire
from monitor.cli.options import Instant, config_option
from monitor.cli.stores import stores
from monitor.errors import Problem, SettingsError
from monitor.jobs.rehearser import Rehearser
from monitor.setup.file import load_setup
from monitor.setup.models import Enclosure
from monitor.setup.settings import Settings
from monitor.species.library import Library, load_library
from monitor.times import MINUTE_MS, duration, parse_rfc3339

_HEADS = {RAISED: "raised", UNCHANGED: "as it is", CHANGED: "changed"}
_FIGURES = {
    "calls": "calls",
    "calls_at_night": "  at night",
    "calls_per_night": "  a night",
    "critical": "  critical",
    "look_false": "  look false",
}


@click.command("rehearse")
@click.argument("enclosure")
@click.option(
    "--setup",
    "file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A set-up file with the enclosure as it might be; nothing is set up by it.",
)
@click.option("--from", "start_ms", type=Instant(), required=True, help="From this time on.")
@click.option("--to", "end_ms", type=Instant(), help="Until before this time; default: now.")
@click.option("--json", "as_json", is_flag=True, help="Print what the API would answer.")
@config_option
def command(
    enclosure: str,
    file: Path | None,
    start_ms: int,
    end_ms: int | None,
    as_json: bool,
    settings: Settings,
) -> None:
    """List the alarms that ENCLOSURE's ranges would have raised, beside those that were.

    Ranges come from the set-up in force and, with --setup, from another one; delays and deadbands
    from the settings, so that another --config tries others.
    """
    now_ms = time.time_ns() // 1_000_000
    end_ms = now_ms if end_ms is None else end_ms
    if start_ms >= end_ms:
        raise click.UsageError("--from must lie before --to")
    library = load_library(settings.setup.species)
    changed = None if file is None else _wanted(file, enclosure, library)
    with stores(settings) as (database, readings):
        rehearser = Rehearser(database, readings, library, settings.alarms)
        outcome = rehearser.outcome(enclosure, start_ms, end_ms, now_ms, changed)
    told = wire(outcome)
    click.echo(json.dumps(told, indent=2, ensure_ascii=False) if as_json else _page(told, outcome))


def _wanted(file: Path, enclosure: str, library: Library) -> Enclosure:
    wanted = {each.id: each for each in load_setup(file, library).enclosure}
    if enclosure not in wanted:
        known = ", ".join(wanted) or "none"
        raise SettingsError(
            [
                Problem(
                    str(file), "enclosure", f"there is none with id {enclosure!r}; known: {known}"
                )
            ]
        )
    return wanted[enclosure]


def _page(told: dict[str, Any], outcome: Outcome) -> str:
    """The answer for a person."""
    first, last = (_local(told[key], outcome) for key in ("from", "to"))
    clock = outcome.enclosure.timezone
    head = f"{told['name']}, {first} to {last} ({clock}), {told['readings']:,} readings"
    lines = [head, "", told["says"], *told["notes"]]
    if told["readings"]:
        lines += ["", *_table(told), *_list(told, outcome)]
    return "\n".join(lines)


def _table(told: dict[str, Any]) -> Iterator[str]:
    names = [name for name in _HEADS if name in told]
    yield f"{'':<14}" + "".join(f"{_HEADS[name]:>16}" for name in names)
    for key, label in _FIGURES.items():
        yield f"{label:<14}" + "".join(f"{told[name][key]:>16}" for name in names)
    longest = (told[name]["longest"] for name in names)
    words = ("-" if each is None else duration(each["minutes"] * MINUTE_MS) for each in longest)
    yield f"{'longest':<14}" + "".join(f"{each:>16}" for each in words)


def _list(told: dict[str, Any], outcome: Outcome) -> Iterator[str]:
    """Every call of the rehearsed set-up, and those that would be gone."""
    before, after = told["difference"]["between"]
    new, gone = (set(told["difference"][key]) for key in ("new", "gone"))
    calls = [alarm for alarm in told[after]["list"] if alarm["called"]]
    if calls:
        yield from ("", f"Calls {_HEADS[after]} (+ new, ? looks false)")
        yield from (_row(alarm, "+" if alarm["id"] in new else " ", outcome) for alarm in calls)
    lost = [alarm for alarm in told[before]["list"] if alarm["id"] in gone]
    if lost:
        yield from ("", f"Gone (calls {_HEADS[before]})")
        yield from (_row(alarm, "-", outcome) for alarm in lost)


def _row(alarm: dict[str, Any], sign: str, outcome: Outcome) -> str:
    when = _local(alarm["raised_at"], outcome)
    doubt = f" ? {alarm['looks_false']}" if alarm["looks_false"] else ""
    return f"{sign} {when}  {alarm['priority']:<8}  {alarm['says']}{doubt}"


def _local(text: str, outcome: Outcome) -> str:
    zone = outcome.enclosure.zone_info
    return f"{dt.datetime.fromtimestamp(parse_rfc3339(text) / 1000, zone):%Y-%m-%d %H:%M}"
