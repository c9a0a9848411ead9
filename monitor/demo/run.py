"""``dewkeep demo``: fills in a month of history, starts the daemon, then publishes live."""

import signal
import socket
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib import resources
from pathlib import Path
from types import FrameType

import click

from monitor.daemon import web_server
from monitor.daemon.daemon import Clock, run, wall_clock
from monitor.demo.history import fill_in, simulator_of
from monitor.demo.live import LiveRoom
from monitor.documents.toml import parse, read_toml
from monitor.setup.models import Setup
from monitor.setup.settings import Settings
from monitor.simulation.demo_room import BackRoom, back_room
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state.setup import Place


def run_demo(
    data: Path | None, port: int, broker_port: int | None, days: int, speed: float
) -> None:
    """Run the demo in the foreground until it is stopped.

    Raises:
        SettingsError: a port is taken.
        StoreError: ``data`` cannot be written to.
    """
    signal.signal(signal.SIGTERM, _leave)
    with _folder(data) as folder:
        settings = Settings.model_validate(
            {
                "server": {"port": port},
                "broker": {
                    "port": broker_port or _free_port(),
                    "client_id": "dewkeep-demo",
                    "embedded": True,
                },
                "store": {"path": folder / "demo.db"},
            }
        )
        web_server.bind(settings.server.host, port).close()  # better known before than after
        room = back_room(wall_clock(), days)
        simulator = simulator_of(room)
        span_ms = room.end_ms - simulator.now_ms
        with (
            closing(Database(settings.store.path)) as database,
            click.progressbar(length=span_ms, label=f"filling in {days} days") as bar,
        ):
            fill_in(settings, database, simulator, room, _places(room), bar.update)

        live = LiveRoom(simulator, settings.broker.port, _clock(wall_clock(), speed))

        def ready(text: str) -> None:
            live.start()
            click.echo(text)

        try:
            run(settings, ready, live.clock)
        finally:
            live.stop()


def _leave(number: int, _frame: FrameType | None) -> None:
    """Asked to stop while history is still filled in: nothing is left behind."""
    sys.exit(128 + number)


def _places(room: BackRoom) -> list[Place]:
    """The set-up, with the new builds as old as the story needs them."""
    with resources.as_file(resources.files("monitor.demo") / "back-room.toml") as path:
        furniture = parse(Setup, read_toml(path), path.name)
    return [
        place.model_copy(update={"built_on": room.built_on[place.id]})
        if place.id in room.built_on
        else place
        for place in furniture.places
    ]


def _clock(start_ms: int, speed: float) -> Clock:
    """Time as the simulated room has it: from now on, so much faster."""
    began = time.monotonic()
    return lambda: start_ms + round(1000 * speed * (time.monotonic() - began))


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def _folder(data: Path | None) -> Iterator[Path]:
    if data is not None:
        data.mkdir(parents=True, exist_ok=True)
        yield data
        return
    with tempfile.TemporaryDirectory(prefix="dewkeep-demo-") as folder:
        yield Path(folder)
