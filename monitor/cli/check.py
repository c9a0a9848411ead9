"""``dewkeep check``: are settings and set-up in order, without starting anything."""

import click

from monitor.cli.options import config_option
from monitor.house.peers import Peers
from monitor.notify.kinds import channels
from monitor.setup.file import load_setup
from monitor.setup.settings import Settings
from monitor.setup.sources import must_agree
from monitor.species.library import load_library


@click.command("check")
@config_option
def command(settings: Settings) -> None:
    """Check settings, secrets, species and set-up without starting.

    Exit code 0 if all is well, else 2 and one line for each thing: `file: key: what is wrong`.
    """
    library = load_library(settings.setup.species)
    settings.broker.secret()
    channels(settings, clock=lambda: 0)  # they are made, but deliver nothing
    Peers(settings.peer, settings.broker.client_id, clock=lambda: 0)  # asked nothing
    if settings.setup.file is None:
        click.echo("settings are in order; no set-up file is named (setup.file)")
        return
    setup = load_setup(settings.setup.file, library)
    must_agree(settings.source, setup)
    probes = sum(len(place.probe) for place in setup.places)
    counts = {"enclosure": len(setup.enclosure), "room": len(setup.room), "probe": probes}
    told = (f"{count} {what}{'' if count == 1 else 's'}" for what, count in counts.items())
    click.echo(f"in order: {', '.join(told)}")
