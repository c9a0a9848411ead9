"""``dewkeep backup``: a consistent copy while running."""

from contextlib import closing
from pathlib import Path

import click

from monitor.cli.options import config_option
from monitor.setup.settings import Settings
from monitor.store.sqlite.backup import back_up
from monitor.store.sqlite.database import Database


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@config_option
def command(file: Path, settings: Settings) -> None:
    """Copy readings, alarms, journal and set-up to FILE, while the daemon goes on.

    Settings, secrets and species profiles of your own are files: copy them beside it.
    """
    with closing(Database(settings.store.path)) as database:
        size = back_up(database, file)
    click.echo(f"{size / 1e6:.1f} MB written to {file}")
