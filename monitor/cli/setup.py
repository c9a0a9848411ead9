"""``dewkeep setup``: enclosures in and out as TOML, and who changed what."""

import json
import time
from contextlib import closing
from pathlib import Path

import click

from monitor.cli.options import config_option
from monitor.jobs.setup_file import kept_says, put_in_force, undone_says
from monitor.setup.changes import details, summary
from monitor.setup.file import dump_setup, load_setup
from monitor.setup.settings import Settings
from monitor.setup.sources import must_agree
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup

WHO = "command line"


@click.group("setup")
def command() -> None:
    """Put enclosures into dewkeep, or write them out, as TOML; see what changed."""


@command.command("apply")
@click.argument("file", type=click.Path(path_type=Path))
@config_option
def apply(file: Path, settings: Settings) -> None:
    """Set up or change what FILE lists; what it does not list stays as it is.

    So does a calibration that was put in force, while FILE says what it said before that.

    A running daemon takes the change over within a second. Applying twice changes nothing.
    """
    wanted = load_setup(file, load_library(settings.setup.species))
    now_ms = time.time_ns() // 1_000_000
    with closing(Database(settings.store.path)) as database, database.transaction() as connection:
        filed = put_in_force(connection, wanted.places, WHO, now_ms)
        must_agree(settings.source, setup.everything(connection))
    click.echo(f"{filed.changes} changed" if filed.changes else "nothing to change")
    for found in filed.kept:
        click.echo(kept_says(found))
    for found in filed.undone:
        click.echo(undone_says(found))


@command.command("dump")
@config_option
def dump(settings: Settings) -> None:
    """Write the whole set-up to standard output, ready for `setup apply`."""
    with closing(Database(settings.store.path)) as database, database.reading() as connection:
        click.echo(dump_setup(setup.everything(connection)), nl=False)


@command.command("history")
@click.argument("number", type=click.IntRange(min=1), required=False)
@click.option("--place", help="Only changes of this room or enclosure.")
@click.option("--limit", default=20, show_default=True, type=click.IntRange(1, 1000))
@click.option("--json", "as_json", is_flag=True, help="What the API would answer.")
@config_option
def history(
    number: int | None, place: str | None, limit: int, as_json: bool, settings: Settings
) -> None:
    """List who changed what, newest first; with NUMBER, all that one change did."""
    with closing(Database(settings.store.path)) as database, database.reading() as connection:
        if number is None:
            changes = setup.history(connection, place, limit=limit)
        else:
            changes = [setup.change(connection, number)]
    if as_json:
        shown = [summary(each) if number is None else details(each) for each in changes]
        click.echo(json.dumps(shown if number is None else shown[0], ensure_ascii=False))
        return
    for each in changes:
        line = summary(each)
        head = "{number:>4}  {at}  {who}: {place}".format_map(line)
        click.echo(f"{head}  {line['says']}" if number is None else f"{head} {line['did']}")
        for difference in details(each)["differences"] if number is not None else ():
            click.echo(f"      {difference['says']}")
