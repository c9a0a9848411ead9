"""``dewkeep restore``: a back-up in the place of the database."""

from pathlib import Path

import click

from monitor.cli.options import config_option
from monitor.setup.settings import Settings
from monitor.store.sqlite.backup import restore


@click.command("restore")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@config_option
def command(file: Path, settings: Settings) -> None:
    """Put the back-up FILE in the place of the database; the daemon must be stopped.

    The back-up is checked first. The old database is moved aside, not deleted.
    """
    aside = restore(file, settings.store.path)
    click.echo(f"restored {settings.store.path}")
    if aside is not None:
        click.echo(f"the old one is now {aside}")
