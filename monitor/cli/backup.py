"""``dewkeep backup``: a consistent copy while running."""

from contextlib import closing
from pathlib import Path

import click

from monitor.cli.options import config_option
from monitor.setup.settings import Settings
from monitor.store.sqlite import photos
from monitor.store.sqlite.backup import back_up, names_in
from monitor.store.sqlite.database import Database


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@config_option
def command(file: Path, settings: Settings) -> None:
    """Copy readings, alarms, journal and set-up to FILE, while the daemon goes on.

    Photos go to the folder FILE.photos: keep both together. Settings, secrets and species profiles
    of your own are files: copy them beside it.
    """
    with closing(Database(settings.store.path)) as database:
        size = back_up(database, file)
    click.echo(f"{size / 1e6:.1f} MB written to {file}")
    tell(photos.copy(settings.store.path, file, names_in(file)), photos.folder_of(file))


def tell(copied: photos.Copied, folder: Path) -> None:
    """Say what became of the photos, if there are any."""
    if copied.whole:
        click.echo(f"photos in {folder}: {copied.whole}")
    for name in copied.damaged:
        click.echo(f"photo {name} is missing or damaged and was left out", err=True)
