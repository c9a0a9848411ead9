"""Pages in-process over all parts of a daemon; the clock stands at twelve past three at night."""

import asyncio
import html
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import httpx
import pytest
import tomli_w
from selenium import webdriver

from monitor.api.app import create_app
from monitor.ingest.link import Message
from monitor.setup.journal import Misted, Source
from monitor.store.sqlite.state import journal, tokens
from monitor.times import MINUTE_MS, parse_rfc3339
from monitor.web import pages
from tests.support.publisher import senml
from tests.support.rig import Rig
from tests.support.waiting import eventually
from tests.web.chromium import chromium

OURS = {"Sec-Fetch-Site": "same-origin", "Origin": "http://127.0.0.1:8420"}
"""What a browser says of a form on a page of dewkeep's own."""
FORM = "application/x-www-form-urlencoded"
Fields = Iterable[tuple[str, str]]

NIGHT_MS = parse_rfc3339("2026-11-25T03:12:00Z")


class Show(Rig):
    """A rig with its pages, called as a browser does; it follows no redirects."""

    def __init__(
        self,
        folder: Path,
        furniture: Mapping[str, Any],
        *,
        needs_token: bool,
        settings: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(
            folder,
            enclosures=tomli_w.dumps(furniture),
            settings=settings,
            needs_token=needs_token,
            now_ms=NIGHT_MS,
        )
        self._app = create_app(self.parts)
        pages.install(self._app)
        self.cookies = httpx.Cookies()
        """What the browser keeps."""

    def get(self, address: str, headers: Mapping[str, str] | None = None) -> httpx.Response:
        """The answer to a GET."""
        return asyncio.run(self._ask("GET", address, headers))

    def post(
        self,
        address: str,
        fields: Fields = (),
        headers: Mapping[str, str] | None = None,
    ) -> httpx.Response:
        """The answer to a form with these fields, sent from a page of dewkeep's own if not said."""
        sent = {"Content-Type": FORM} | dict(OURS if headers is None else headers)
        return asyncio.run(self._ask("POST", address, sent, urlencode([*fields])))

    def send_body(self, address: str, body: str, headers: Mapping[str, str]) -> httpx.Response:
        """The answer to a POST with a body of any kind."""
        return asyncio.run(self._ask("POST", address, headers, body))

    def send_bytes(self, address: str, body: bytes, kind: str) -> httpx.Response:
        """The answer to a POST of a file, as a script of a page sends it."""
        return asyncio.run(self._ask("POST", address, OURS | {"Content-Type": kind}, body))

    def hidden(self, address: str, of_form: str) -> list[tuple[str, str]]:
        """The hidden fields of the form on the page at an address that goes to another."""
        return hidden(self.get(address).text, of_form)

    def submit(
        self,
        page: str,
        address: str,
        more: Fields = (),
        headers: Mapping[str, str] | None = None,
    ) -> httpx.Response:
        """Send the first form of a page that goes to an address, with what it hides."""
        return self.post(address, [*hidden(page, address), *more], headers)

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
        self.wait_silence_with({})

    def wait_silence_with(self, token: Mapping[str, str]) -> None:
        """The same in a house that asks for a token."""
        self.now_ms += 10 * MINUTE_MS
        eventually(lambda: self.get("/api/v1/alarms", token).json(), "the alarm")

    def token(self, scope: tokens.Scope) -> dict[str, str]:
        """The header that a holder of a new token sends."""
        with self.database.transaction() as connection:
            made = tokens.create(connection, "tester", scope, NIGHT_MS)
        return {"Authorization": f"Bearer {made}"}

    async def _ask(
        self,
        method: str,
        address: str,
        headers: Mapping[str, str] | None,
        body: str | bytes | None = None,
    ) -> httpx.Response:
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(self._app),
            base_url="http://127.0.0.1:8420",
            cookies=self.cookies,
        ) as client:
            answer = await client.request(method, address, headers=headers, content=body)
            self.cookies = client.cookies
            return answer


def hidden(page: str, address: str) -> list[tuple[str, str]]:
    """The hidden fields of the first form of a page that goes to an address."""
    form = re.search(rf'<form[^>]* action="{re.escape(address)}".*?</form>', page, re.DOTALL)
    assert form, page
    found = re.findall(r'<input type="hidden" name="([^"]*)" value="([^"]*)">', form[0])
    return [(name, html.unescape(value)) for name, value in found]


@pytest.fixture
def browser() -> Iterator[webdriver.Chrome]:
    """A headless Chromium with the screen of a small phone."""
    driver = chromium()
    yield driver
    driver.quit()


MakeShow = Callable[..., Show]


@pytest.fixture
def make_show(tmp_path: Path) -> Iterator[MakeShow]:
    """Opens a show for a set-up as its file has it, and closes it in the end."""
    opened: list[Show] = []

    def make(
        furniture: Mapping[str, Any],
        *,
        needs_token: bool = False,
        settings: Mapping[str, Any] | None = None,
    ) -> Show:
        show = Show(tmp_path, furniture, needs_token=needs_token, settings=settings)
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
