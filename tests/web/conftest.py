"""Pages in-process over all parts of a daemon; the clock stands at twelve past three at night."""

import asyncio
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import httpx
import pytest
import tomli_w

from monitor.api.app import create_app
from monitor.ingest.link import Message
from monitor.setup.journal import Misted, Source
from monitor.store.sqlite.state import journal, tokens
from monitor.times import MINUTE_MS, parse_rfc3339
from monitor.web import pages
from tests.support.publisher import senml
from tests.support.rig import Rig
from tests.support.waiting import eventually

NIGHT_MS = parse_rfc3339("2026-11-25T03:12:00Z")


class Show(Rig):
    """A rig with its pages, called as a browser does; it follows no redirects."""

    def __init__(self, folder: Path, furniture: Mapping[str, Any], *, needs_token: bool) -> None:
        super().__init__(
            folder,
            enclosures=tomli_w.dumps(furniture),
            needs_token=needs_token,
            now_ms=NIGHT_MS,
        )
        self._app = create_app(self.parts)
        pages.install(self._app)

    def get(self, address: str, headers: Mapping[str, str] | None = None) -> httpx.Response:
        """The answer to a GET."""
        return asyncio.run(self._ask("GET", address, headers))

    def post(self, address: str, headers: Mapping[str, str] | None = None) -> httpx.Response:
        """The answer to a POST without a body."""
        return asyncio.run(self._ask("POST", address, headers))

    def page(self) -> str:
        """The room page."""
        answer = self.get("/")
        assert answer.status_code == 200, answer.text
        return answer.text

    def publish(
        self, topic: str, temperature: float, humidity: float, *, since_h: float, until_h: float = 0
    ) -> None:
        """A reading a minute from so many hours ago until so many; the last exactly as given."""
        messages = []
        for minutes in range(round(60 * since_h), round(60 * until_h) - 1, -1):
            wobble = minutes % 3 / 10  # air that never moves is not believed
            payload = senml(
                (self.now_ms - minutes * MINUTE_MS) / 1000, temperature + wobble, humidity + wobble
            )
            messages.append(Message(topic, payload, 0, 0, 0))
        self.ask(lambda pipeline, now_ms: pipeline.take(messages, now_ms))

    def mist(self, enclosure: str, at_ms: int, seconds: float | None) -> None:
        """A mister's entry in the journal."""
        entry = Misted(at=at_ms, kind="misted", seconds=seconds)
        with self.database.transaction() as connection:
            journal.add(connection, enclosure, entry, Source.MISTER, at_ms)

    def wait_silence(self) -> None:
        """Ten minutes go by without a reading, and an alarm is raised."""
        self.now_ms += 10 * MINUTE_MS
        eventually(lambda: self.get("/api/v1/alarms").json(), "the alarm")

    def token(self, scope: tokens.Scope) -> dict[str, str]:
        """The header that a holder of a new token sends."""
        with self.database.transaction() as connection:
            made = tokens.create(connection, "tester", scope, NIGHT_MS)
        return {"Authorization": f"Bearer {made}"}

    async def _ask(
        self, method: str, address: str, headers: Mapping[str, str] | None
    ) -> httpx.Response:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(self._app), base_url="http://127.0.0.1:8420"
        ) as client:
            return await client.request(method, address, headers=headers)


MakeShow = Callable[..., Show]


@pytest.fixture
def make_show(tmp_path: Path) -> Iterator[MakeShow]:
    """Opens a show for a set-up as its file has it, and closes it in the end."""
    opened: list[Show] = []

    def make(furniture: Mapping[str, Any], *, needs_token: bool = False) -> Show:
        show = Show(tmp_path, furniture, needs_token=needs_token)
        opened.append(show)
        show.loop.start()
        return show

    yield make
    for show in opened:
        show.loop.stop()
        show.close()


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
