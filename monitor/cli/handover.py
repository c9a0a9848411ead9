"""``dewkeep handover``: the sheet for whoever receives an enclosure, as one HTML file."""

import time
from contextlib import closing
from pathlib import Path

import click

from monitor.cli.options import config_option
from monitor.errors import Problem, SettingsError
from monitor.setup.settings import Settings
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.web.handover import sheet, standalone


@click.command("handover")
@click.argument("enclosure")
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    required=True,
    help="File to write; one that exists is replaced.",
)
@config_option
def command(enclosure: str, out: Path, settings: Settings) -> None:
    """Write the hand-over sheet of ENCLOSURE, ready to print from a browser.

    Its QR code leads to the page, if the settings name a public_url.
    """
    base = settings.server.public_url
    with closing(Database(settings.store.path)) as database:
        found = sheet(
            database,
            load_library(settings.setup.species),
            enclosure,
            time.time_ns() // 1_000_000,
            None if base is None else str(base),
        )
    try:
        out.write_text(standalone(found), encoding="utf-8")
    except OSError as exc:
        raise SettingsError([Problem(str(out), "", f"cannot be written: {exc.strerror}")]) from exc
    click.echo(f"written to {out}")
