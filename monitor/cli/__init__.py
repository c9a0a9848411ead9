"""The command line: ``dewkeep COMMAND``. One file for each command or small family."""

import importlib
import sys

import click

from monitor import __version__
from monitor.errors import DewkeepError

WRONG_INPUT = 2

_COMMANDS = {
    "Watch": {
        "demo": "Try it with an invented room and a month of history.",
        "check": "Check settings, secrets, species and set-up.",
        "serve": "Readings in, alarms out, until stopped.",
    },
    "Ask": {
        "compatibility": "Whether the inhabitants belong together.",
        "misting": "How the air dries, and schedules to mist by.",
        "probes": "Which probes can be trusted, and what is due.",
        "rehearse": "Which alarms other ranges would have raised.",
        "settling": "Whether a new build has settled.",
    },
    "Set up": {
        "calibrate": "Calibrate a probe with saturated salts.",
        "setup": "Put enclosures in, or write them out.",
        "token": "Let other machines in, or shut them out.",
    },
    "Keep": {
        "backup": "Copy everything to one file, while it runs.",
        "copy": "Copy all readings to another engine.",
        "export": "Write readings to CSV or Parquet.",
        "handover": "Write the sheet that goes with an enclosure.",
        "import": "Read the CSV log of a probe.",
        "restore": "Put a back-up in the place of the database.",
    },
}
"""What each is for; the names are those of the modules beside this one."""
_TAKEN = ("import", "copy")
"""Names that Python has given away already: these modules end in an underscore."""


class _Commands(click.Group):
    """Commands that are only imported when they run: `dewkeep --help` should not load a daemon."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All names."""
        del ctx
        return sorted(name for commands in _COMMANDS.values() for name in commands)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name."""
        if cmd_name not in self.list_commands(ctx):
            return None
        module = f"{cmd_name}_" if cmd_name in _TAKEN else cmd_name
        command: click.Command = importlib.import_module(f"monitor.cli.{module}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """What there is, by what it is for."""
        width = max(map(len, self.list_commands(ctx)))
        for purpose, commands in _COMMANDS.items():
            with formatter.section(purpose):
                formatter.write_dl([(name.ljust(width), says) for name, says in commands.items()])

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
