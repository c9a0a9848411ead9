"""All of the daemon's parts in this process, over a database of its own; no broker, no server."""

from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self, TypeVar

from monitor.api.parts import Parts
from monitor.house.peers import Peers
from monitor.ingest.link import Message
from monitor.ingest.live import Hub
from monitor.ingest.loop import IngestLoop
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.jobs.foresight import Foresight
from monitor.jobs.misting import MistingDesk
from monitor.jobs.settling import Assessor
from monitor.notify.courier import Courier
from monitor.setup.file import load_setup
from monitor.setup.settings import Settings
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup
from monitor.times import parse_rfc3339
from tests.support.daemon import CORK_CUBE
from tests.support.fake_link import FakeLink
from tests.support.moody import MoodyReadings
from tests.support.publisher import senml

Answer = TypeVar("Answer")

NOON_MS = parse_rfc3339("2026-11-20T12:00:00Z")
CANOPY = "dewkeep/cork-cube/canopy"
LIBRARY = load_library()


class Rig:
    """A pipeline, its loop (not started yet) and everything around them; ``now_ms`` is the time."""

    def __init__(
        self,
        folder: Path,
        *,
        enclosures: str = CORK_CUBE,
        settings: Mapping[str, Any] | None = None,
        needs_token: bool = False,
        now_ms: int = NOON_MS,
    ) -> None:
        self.now_ms = now_ms
        self.told = 0
        more = dict(settings or {})
        store = {"path": folder / "dewkeep.db"} | more.pop("store", {})
        self.settings = Settings.model_validate({"store": store} | more)
        self.database = Database(self.settings.store.path)
        self.apply(folder / "enclosures.toml", enclosures)
        self.readings = MoodyReadings(self.database)
        self.hub, self.rejects, self.link = Hub(), Rejects(), FakeLink()
        self.pipeline = self.new_pipeline()
        self.loop = IngestLoop(
            self.link, self.pipeline, lambda: self.now_ms, lambda: self.now_ms / 1000
        )
        self.parts = Parts(
            database=self.database,
            readings=self.readings,
            settings=self.settings,
            loop=self.loop,
            hub=self.hub,
            rejects=self.rejects,
            library=LIBRARY,
            assessor=Assessor(self.database, self.readings, LIBRARY, self.settings.settling.limits),
            foresight=Foresight(self.readings, LIBRARY, lambda: self.now_ms),
            misting=MistingDesk(self.database, self.readings, LIBRARY),
            courier=Courier(self.database, {}, clock=lambda: self.now_ms),
            peers=Peers(
                self.settings.peer,
                self.settings.broker.client_id,
                clock=lambda: self.now_ms,
                steady=lambda: self.now_ms / 1000,
            ),
            clock=lambda: self.now_ms,
            needs_token=needs_token,
        )

    def new_pipeline(self) -> Pipeline:
        """A pipeline as after a start, from what is stored."""
        return Pipeline(
            self.database,
            self.readings,
            self.settings,
            LIBRARY,
            self.hub,
            self.rejects,
            told=self._tell,
            raised=lambda _alarms: None,
            now_ms=self.now_ms,
        )

    def apply(self, file: Path, text: str) -> None:
        """Change the set-up behind the pipeline's back, as another process would."""
        file.write_text(text)
        with self.database.transaction() as connection:
            setup.apply(
                connection, load_setup(file, LIBRARY).places, who="test", now_ms=self.now_ms
            )

    # -- without the loop ------------------------------------------------------------------------

    def take(self, *payloads: bytes, topic: str = CANOPY) -> None:
        """Give the pipeline a batch."""
        self.pipeline.take([Message(topic, each, 0, 0, 0) for each in payloads], self.now_ms)

    def course(
        self, temperature: float, humidity: float, *, minutes: int = 30, topic: str = CANOPY
    ) -> None:
        """Readings that stay as they are, one a minute, up to now."""
        self.take(
            *(
                senml(self.now_ms / 1000 - 60 * ago, temperature, humidity)
                for ago in reversed(range(minutes))
            ),
            topic=topic,
        )

    def pass_by(self, minutes: float) -> None:
        """Let time pass, and the pipeline notice."""
        self.now_ms += round(60_000 * minutes)
        self.pipeline.tick(self.now_ms, broker_connected=True)

    # -- with the loop ---------------------------------------------------------------------------

    def send(self, *payloads: bytes, topic: str = CANOPY) -> None:
        """Publish to the running loop and wait until it has acknowledged everything."""
        self.link.send(topic, *payloads)
        self.link.wait_acknowledged()

    def ask(self, work: Callable[[Pipeline, int], Answer]) -> Answer:
        """Have something done by the running loop."""
        return self.loop.ask(work).result(20)

    def __enter__(self) -> Self:
        self.loop.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.loop.stop()
        self.close()

    def close(self) -> None:
        """Close the database."""
        self.database.close()

    def _tell(self) -> None:
        self.told += 1
