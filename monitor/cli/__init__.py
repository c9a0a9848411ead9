"""The command line: ``dewkeep COMMAND``. One file for each command or small family."""

import importlib
import sys

import click

from monitor import __version__
from monitor.errors import DewkeepError

WRONG_INPUT = 2

_COMMANDS = {
    "backup": "monitor.cli.backup",
    "calibrate": "monitor.cli.calibrate",
    "check": "monitor.cli.check",
    "compatibility": "monitor.cli.compatibility",
    "copy": "monitor.cli.copy_",
    "demo": "monitor.cli.demo",
    "export": "monitor.cli.export",
    "handover": "monitor.cli.handover",
    "import": "monitor.cli.import_",
    "misting": "monitor.cli.misting",
    "probes": "monitor.cli.probes",
    "rehearse": "monitor.cli.rehearse",
    "restore": "monitor.cli.restore",
    "serve": "monitor.cli.serve",
    "settling": "monitor.cli.settling",
    "setup": "monitor.cli.setup",
    "token": "monitor.cli.token",
}


class _Commands(click.Group):
    """Commands that are only imported when they run: `dewkeep --help` should not load a daemon."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All names."""
        del ctx
        return sorted(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name."""
        del ctx
        module = _COMMANDS.get(cmd_name)
        if module is None:
            return None
        command: click.Command = importlib.import_module(module).command
        return command

    def invoke(self, ctx: click.Context) -> object:
        """Run the command; an error of ours is told in plain words, without a traceback."""
        try:
            return super().invoke(ctx)
        except DewkeepError as exc:
            click.echo(str(exc), err=True)
            sys.exit(WRONG_INPUT)


@click.command(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="dewkeep")
def main() -> None:
    """Watches the climate of living enclosures and says when, and why, it goes wrong.

    Not a safety device: heat sources need a thermostat and cut-out of their own. Ranges are
    starting points, not veterinary advice.
    """
