"""``dewkeep setup``: enclosures in and out as TOML."""

import time
from contextlib import closing
from pathlib import Path

import click

from monitor.cli.options import config_option
from monitor.setup.file import dump_setup, load_setup
from monitor.setup.settings import Settings
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup

WHO = "command line"


@click.group("setup")
def command() -> None:
    """Put enclosures into dewkeep, or write them out, as TOML."""


@command.command("apply")
@click.argument("file", type=click.Path(path_type=Path))
@config_option
def apply(file: Path, settings: Settings) -> None:
    """Set up or change what FILE lists; what it does not list stays as it is.

    A running daemon takes the change over within a second. Applying twice changes nothing.
    """
    wanted = load_setup(file, load_library(settings.setup.species))
    with closing(Database(settings.store.path)) as database, database.transaction() as connection:
        before = setup.revision(connection)
        for place in wanted.places:
            setup.put(connection, place, who=WHO, now_ms=time.time_ns() // 1_000_000)
        changes = setup.revision(connection) - before
    click.echo(f"{changes} changed" if changes else "nothing to change")


@command.command("dump")
@config_option
def dump(settings: Settings) -> None:
    """Write the whole set-up to standard output, ready for `setup apply`."""
    with closing(Database(settings.store.path)) as database, database.reading() as connection:
        click.echo(dump_setup(setup.everything(connection)), nl=False)
