"""``dewkeep demo``: fills in a month of history, starts the daemon, then publishes live."""

import socket
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib import resources
from pathlib import Path

import click

from monitor.daemon.daemon import Clock, run, wall_clock
from monitor.demo.history import fill_in
from monitor.demo.live import LiveRoom
from monitor.documents.toml import parse, read_toml
from monitor.setup.models import Setup
from monitor.setup.settings import Settings
from monitor.simulation import Simulator
from monitor.simulation.demo_room import SEED, BackRoom, back_room
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup

STEP_S = 30.0
WHO = "demo"


def run_demo(
    data: Path | None, port: int, broker_port: int | None, days: int, speed: float
) -> None:
    """Run the demo in the foreground until it is stopped.

    Raises:
        SettingsError: a port is taken.
        StoreError: ``data`` cannot be written to.
    """
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
        now_ms = wall_clock()
        room = back_room(now_ms, days)
        simulator = Simulator(room.scenario, room.start_ms, STEP_S, SEED)
        with closing(Database(settings.store.path)) as database:
            _furnish(database, room)
            with click.progressbar(length=days, label=f"filling in {days} days") as bar:
                fill_in(settings, database, simulator, room, bar.update)

        live = LiveRoom(simulator, settings.broker.port, _clock(now_ms, speed))

        def ready(text: str) -> None:
            live.start()
            click.echo(text)

        try:
            run(settings, ready, live.clock)
        finally:
            live.stop()


def _furnish(database: Database, room: BackRoom) -> None:
    with resources.as_file(resources.files("monitor.demo") / "back-room.toml") as path:
        furniture = parse(Setup, read_toml(path), path.name)
    with database.transaction() as connection:
        for place in furniture.places:
            built_on = room.built_on.get(place.id)
            aged = place if built_on is None else place.model_copy(update={"built_on": built_on})
            setup.put(connection, aged, who=WHO, now_ms=room.start_ms)


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
