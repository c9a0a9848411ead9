"""``dewkeep demo``: a simulated room on embedded parts."""

from pathlib import Path

import click

from monitor.cli.logs import log_to_stderr
from monitor.demo.run import run_demo


@click.command("demo")
@click.option(
    "--data",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder to keep the demo's data in; without it everything goes when the demo stops.",
)
@click.option("--port", type=click.IntRange(1, 65_535), default=8420, show_default=True)
@click.option("--broker-port", type=click.IntRange(1, 65_535), help="Default: any that is free.")
@click.option(
    "--days", type=click.IntRange(1, 400), default=30, show_default=True, help="History to fill in."
)
@click.option(
    "--speed",
    type=click.FloatRange(1, 3_600),
    default=1.0,
    show_default=True,
    help="Simulated seconds in a second.",
)
def command(data: Path | None, port: int, broker_port: int | None, days: int, speed: float) -> None:
    """Try dewkeep with an invented room: four enclosures, a month of history, then live.

    In the last night a mister failed. Not a safety device, and no advice on any animal.
    """
    log_to_stderr()
    run_demo(data, port, broker_port, days, speed)
