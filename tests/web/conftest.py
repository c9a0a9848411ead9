"""A house to look at: a real store and pipeline, the pages in-process, the clock in our hands."""

import asyncio
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import httpx
import pytest
from fastapi import FastAPI

from monitor.api.app import create_app
from monitor.api.parts import Parts
from monitor.documents.toml import parse
from monitor.ingest.link import LinkState, Message
from monitor.ingest.live import Hub
from monitor.ingest.pipeline import Pipeline
from monitor.ingest.rejects import Rejects
from monitor.jobs.foresight import Foresight
from monitor.setup.journal import Misted, Source
from monitor.setup.models import Setup
from monitor.setup.settings import Settings
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import journal, setup, tokens
from monitor.times import HOUR_MS, parse_rfc3339
from monitor.web import pages
from tests.support.publisher import senml

NIGHT_MS = parse_rfc3339("2026-11-25T03:12:00Z")
LIBRARY = load_library()


class Browser:
    """Asks the application in-process and follows no redirects."""

    def __init__(self, app: FastAPI) -> None:
        self._app = app

    def get(self, address: str, headers: Mapping[str, str] | None = None) -> httpx.Response:
        """The answer to a GET."""
        return asyncio.run(self._ask("GET", address, headers))

    def post(self, address: str, headers: Mapping[str, str] | None = None) -> httpx.Response:
        """The answer to a POST without a body."""
        return asyncio.run(self._ask("POST", address, headers))

    async def _ask(
        self, method: str, address: str, headers: Mapping[str, str] | None
    ) -> httpx.Response:
        transport = httpx.ASGITransport(self._app)
        async with httpx.AsyncClient(
            transport=transport, base_url="http://127.0.0.1:8420"
        ) as client:
            return await client.request(method, address, headers=headers)


class House:
    """Rooms and enclosures as given, watched since a day and a bit before ``NIGHT_MS``."""

    def __init__(self, folder: Path, furniture: dict[str, Any], *, needs_token: bool) -> None:
        self.now_ms = NIGHT_MS
        self.database = Database(folder / "test.db")
        self.link = LinkState(connected=True, says="connected")
        self.store_says: str | None = None
        with self.database.transaction() as connection:
            for place in parse(Setup, furniture, "test").places:
                setup.put(connection, place, who="test", now_ms=NIGHT_MS - 30 * HOUR_MS)
        readings = SqliteReadings(self.database)
        hub, rejects = Hub(), Rejects()
        self.pipeline = Pipeline(
            self.database,
            readings,
            Settings.model_validate({}),
            LIBRARY,
            hub,
            rejects,
            told=lambda: None,
            raised=lambda _alarms: None,
            now_ms=NIGHT_MS - 30 * HOUR_MS,
        )
        parts = Parts(
            database=self.database,
            readings=readings,
            loop=cast(
                "Any",
                SimpleNamespace(
                    link=SimpleNamespace(state=self.link), state=self._state, ask=self._ask
                ),
            ),
            hub=hub,
            rejects=rejects,
            library=LIBRARY,
            foresight=Foresight(readings, LIBRARY, lambda: self.now_ms),
            courier=cast("Any", None),
            clock=lambda: self.now_ms,
            needs_token=needs_token,
        )
        self.app = create_app(parts)
        pages.install(self.app)
        self.browser = Browser(self.app)

    # What the pages ask of the ingest loop.

    def _ask(self, work: Callable[[Pipeline, int], Any]) -> Future[Any]:
        done: Future[Any] = Future()
        try:
            done.set_result(work(self.pipeline, self.now_ms))
        except Exception as exc:  # noqa: BLE001 - handed on, as the loop does
            done.set_exception(exc)
        return done

    def _state(self) -> object:
        return SimpleNamespace(alive=True, store_says=self.store_says)

    # What happens in it.

    def publish(self, topic: str, *, since_h: float, temperature: float, humidity: float) -> None:
        """A reading a minute from so many hours ago until now, the last exactly as given."""
        messages = []
        for minutes in range(round(60 * since_h), -1, -1):
            at_s = self.now_ms / 1000 - 60 * minutes
            wobble = minutes % 3 / 10  # air that never moves is not believed
            payload = senml(at_s, temperature + wobble, humidity + wobble)
            messages.append(Message(topic, payload, 0, 0, 0))
        self.pipeline.take(messages, self.now_ms)

    def mist(self, enclosure: str, at_ms: int, seconds: float | None) -> None:
        """A mister's entry in the journal."""
        entry = Misted(at=at_ms, kind="misted", seconds=seconds)
        with self.database.transaction() as connection:
            journal.add(connection, enclosure, entry, Source.MISTER, at_ms)

    def token(self, scope: tokens.Scope) -> dict[str, str]:
        """The header that a holder of a new token sends."""
        with self.database.transaction() as connection:
            made = tokens.create(connection, "tester", scope, NIGHT_MS)
        return {"Authorization": f"Bearer {made}"}

    def page(self) -> str:
        """The room page."""
        answer = self.browser.get("/")
        assert answer.status_code == 200, answer.text
        return answer.text


MakeHouse = Callable[..., House]


@pytest.fixture
def make_house(tmp_path: Path) -> Iterator[MakeHouse]:
    """Builds houses, each for a set-up as a TOML file has it, and clears them away."""
    built: list[House] = []

    def make(furniture: dict[str, Any], *, needs_token: bool = False) -> House:
        folder = tmp_path / str(len(built))
        folder.mkdir()
        built.append(House(folder, furniture, needs_token=needs_token))
        return built[-1]

    yield make
    for house in built:
        house.database.close()


def enclosure(place: str = "cork-cube", name: str = "Cork cube", **more: object) -> dict[str, Any]:
    """One enclosure with a canopy that has a range."""
    return {
        "id": place,
        "name": name,
        "timezone": "Europe/Lisbon",
        "probe": [{"id": "canopy", "zone": "canopy"}],
        "range": {
            "canopy": {
                "day": {"temperature": [20, 28], "humidity": [50, 80]},
                "night": {"temperature": [18, 25], "humidity": [70, 95]},
                "critical": {"humidity": [35, 100]},
            }
        },
        **more,
    }
