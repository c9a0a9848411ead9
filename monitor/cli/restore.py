"""``dewkeep restore``: a back-up in the place of the database."""

from pathlib import Path

import click

from monitor.cli.backup import tell
from monitor.cli.options import config_option
from monitor.setup.settings import Settings
from monitor.store.sqlite import photos
from monitor.store.sqlite.backup import names_in, restore


@click.command("restore")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@config_option
def command(file: Path, settings: Settings) -> None:
    """Put the back-up FILE in the place of the database; the daemon must be stopped.

    The back-up is checked first. The old database is moved aside, not deleted. Photos are taken
    from the folder FILE.photos; those that are there already stay.
    """
    aside = restore(file, settings.store.path)
    copied = photos.copy(file, settings.store.path, names_in(file))
    click.echo(f"restored {settings.store.path}")
    tell(copied, photos.folder_of(settings.store.path))
    if aside is not None:
        click.echo(f"the old one is now {aside}")
