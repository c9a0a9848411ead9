"""All parts of a daemon in this process, without a broker: for tests of the faces."""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import uvicorn

from monitor.api.app import create_app
from monitor.api.parts import Parts
from monitor.house.peers import Peers
from monitor.ingest.link import Link, Message
from monitor.ingest.live import Hub
from monitor.ingest.loop import IngestLoop
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.jobs.foresight import Foresight
from monitor.jobs.misting import MistingDesk
from monitor.jobs.settling import Assessor
from monitor.notify.courier import Courier
from monitor.setup.models import Setup
from monitor.setup.settings import Settings
from monitor.species.library import load_library
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import setup
from tests.support.publisher import senml
from tests.support.servers import free_port
from tests.support.waiting import eventually

NOW_MS = 1_795_600_000_000
"""25 November 2026, 09:46:40 UTC."""

FURNITURE: dict[str, Any] = {
    "room": [{"id": "back-room", "name": "Back room", "probe": [{"id": "air"}]}],
    "enclosure": [
        {
            "id": "cork-cube",
            "name": "Cork cube",
            "room": "back-room",
            "timezone": "Europe/Lisbon",
            "probe": [{"id": "canopy", "zone": "canopy"}, {"id": "floor", "zone": "floor"}],
            "inhabitant": [{"species": "correlophus-ciliatus"}],
            "range": {"canopy": {when: {"humidity": [60, 95]} for when in ("day", "night")}},
        }
    ],
}


class House:
    """A running house with a clock that stands until it is moved."""

    def __init__(
        self, folder: Path, *, needs_token: bool, more: Mapping[str, Any] | None = None
    ) -> None:
        self.now_ms = NOW_MS
        self.database = Database(folder / "dewkeep.db")
        with self.database.transaction() as connection:
            for place in Setup.model_validate(FURNITURE).places:
                setup.put(connection, place, who="test", now_ms=NOW_MS)
        self.readings = SqliteReadings(self.database)
        told = dict(more or {})
        broker = {"port": free_port()} | told.pop("broker", {})
        settings = Settings.model_validate({"broker": broker} | told)
        library = load_library()
        self.hub = Hub()
        self.rejects = Rejects()
        self.pipeline = Pipeline(
            self.database,
            self.readings,
            settings,
            library,
            self.hub,
            self.rejects,
            told=lambda: None,
            raised=lambda _alarms: None,
            now_ms=NOW_MS,
        )
        self.loop = IngestLoop(
            Link(settings.broker, [], "dewkeep-state/test"),
            self.pipeline,
            self.clock,
            lambda: self.now_ms / 1000,
        )
        self.parts = Parts(
            database=self.database,
            readings=self.readings,
            settings=settings,
            loop=self.loop,
            hub=self.hub,
            rejects=self.rejects,
            library=library,
            assessor=Assessor(self.database, self.readings, library, settings.settling.limits),
            foresight=Foresight(self.readings, library, self.clock),
            misting=MistingDesk(self.database, self.readings, library),
            courier=Courier(self.database, {}, clock=self.clock),
            peers=Peers(
                settings.peer,
                settings.broker.client_id,
                clock=self.clock,
                steady=lambda: self.now_ms / 1000,
            ),
            clock=self.clock,
            needs_token=needs_token,
        )
        port = free_port()
        self.server = uvicorn.Server(
            uvicorn.Config(create_app(self.parts), port=port, log_config=None, lifespan="off")
        )
        self.http = httpx.Client(
            base_url=f"http://127.0.0.1:{port}",
            timeout=20,
            # A kept connection may be closed by the server in the moment of the next request.
            limits=httpx.Limits(max_keepalive_connections=0),
        )

    def clock(self) -> int:
        """The time in the house."""
        return self.now_ms

    def take(self, probe: str, at_ms: int, temperature: float, humidity: float) -> None:
        """Have the loop's thread take one message, as if it had come over MQTT."""
        message = Message(
            f"dewkeep/cork-cube/{probe}", senml(at_ms / 1000, temperature, humidity), 0, 0, 0
        )
        self.loop.ask(lambda pipeline, now_ms: pipeline.take([message], now_ms)).result(10)

    def tick(self) -> None:
        """Have the loop's thread look at the clock."""
        self.loop.ask(lambda pipeline, now_ms: pipeline.tick(now_ms, broker_connected=True)).result(
            10
        )

    def crash(self) -> str:
        """Dry the canopy for long enough; the id of the alarm that this raises."""
        for minute in range(25):
            self.take("canopy", NOW_MS - (30 - minute) * 60_000, 23.0, 50.0)
        (alarm,) = self.http.get("/api/v1/alarms").json()
        alarm_id: str = alarm["id"]
        return alarm_id

    def backfill(self, key: SeriesKey, at_ms: list[int], value: list[float]) -> None:
        """Put readings straight into the store."""
        (series,) = self.readings.series_ids([key])
        count = len(at_ms)
        self.readings.backfill(
            Readings(
                np.full(count, series),
                np.array(at_ms),
                np.array(value, np.float64),
                np.zeros(count, np.uint8),
            )
        )


@contextmanager
def house(folder: Path, *, needs_token: bool = False, **more: Any) -> Iterator[House]:
    """A house that is shut down in the end; ``more`` are settings by their tables."""
    built = House(folder, needs_token=needs_token, more=more)
    built.loop.start()
    served = threading.Thread(target=built.server.run)
    served.start()
    eventually(lambda: built.server.started, "the API answers")
    try:
        with built.http:
            yield built
    finally:
        built.hub.end()
        built.server.should_exit = True
        served.join(10)
        built.loop.stop()
        built.database.close()
