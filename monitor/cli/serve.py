"""``dewkeep serve``: the daemon, in the foreground."""

import click

from monitor.cli.logs import log_to_stderr
from monitor.cli.options import config_option
from monitor.daemon.daemon import run
from monitor.setup.settings import Settings


@click.command("serve")
@config_option
def command(settings: Settings) -> None:
    """Watch: readings in, alarms out, until stopped.

    Prints `ready on http://HOST:PORT` once broker, store and API are up. SIGTERM stops it cleanly.
    """
    log_to_stderr(settings.log)
    run(settings, click.echo)
