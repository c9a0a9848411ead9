"""Names and notes that are scripts, paths and queries: kept and shown as what they are, words."""

from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote

import httpx
import pytest

from tests.support.house import NOW_MS, House
from tests.support.house import house as open_house

MARK = "xss7"
AT = "2026-11-24T18:00:00Z"
SCRIPTS = (
    f"<script>{MARK}()</script>",
    f'"><img src=x onerror={MARK}()>',
    f"'><svg/onload={MARK}()>",
    f"</title><script>{MARK}()</script>",
    f"</script><script>{MARK}()</script>",
    f"{{{{ {MARK} }}}}",
    f"javascript:{MARK}()",
    f"<!--><script>{MARK}()</script>-->",
    f"&lt;script&gt;{MARK}()&lt;/script&gt;",
)


class Watcher(HTMLParser):
    """Finds the mark where a browser would act on it."""

    def __init__(self) -> None:
        super().__init__()
        self.acts: list[str] = []
        self._in_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look at what may act by itself."""
        self._in_script = tag in ("script", "style")
        for name, value in attrs:
            acting = name.startswith("on") or name in ("href", "src", "action", "style", "srcdoc")
            if MARK in name or (acting and MARK in (value or "")):
                self.acts.append(f"<{tag} {name}={value!r}>")
        if MARK in tag:
            self.acts.append(tag)

    def handle_endtag(self, _tag: str) -> None:
        """Words from here on."""
        self._in_script = False

    def handle_data(self, data: str) -> None:
        """Words, unless they are a script."""
        if self._in_script and MARK in data:
            self.acts.append(data)

    def handle_comment(self, data: str) -> None:
        """Nothing of a keeper's belongs here."""
        if MARK in data:
            self.acts.append(data)


def acts(page: str) -> list[str]:
    """Where a page would let the mark act."""
    watcher = Watcher()
    watcher.feed(page)
    watcher.close()
    return watcher.acts


def test_the_watcher_sees_what_it_should() -> None:
    """It finds the mark in what a careless page would hold."""
    careless = f'<p title="{SCRIPTS[1]}">{SCRIPTS[0]}</p><a href="{SCRIPTS[6]}">x</a>'

    assert len(acts(careless)) == 3


@pytest.mark.parametrize("script", SCRIPTS)
def test_a_script_as_every_name_and_note(tmp_path: Path, script: str) -> None:
    """Enclosure, room, inhabitant's note, journal and who acknowledged: words on every face."""
    with open_house(tmp_path) as house:
        for path, change in (
            ("/api/v1/rooms/back-room", {"name": script}),
            ("/api/v1/enclosures/cork-cube", {"name": script}),
        ):
            place = house.http.get(path).json() | change
            answer = house.http.put(path, json=place)
            assert answer.is_success, answer.text
            assert house.http.get(path).json()["name"] == script
        journal = "/api/v1/enclosures/cork-cube/journal"
        entry = house.http.post(journal, json={"kind": "note", "at": AT, "note": script})
        assert entry.is_success, entry.text
        house.crash()

        shown = house.http.get(journal)
        assert shown.headers["content-type"] == "application/json"
        assert script in [each.get("note") for each in shown.json()]
        page = house.http.get("/")
        assert acts(page.text) == []


@pytest.mark.parametrize(
    "path",
    [
        "../../../../etc/passwd",
        "..%2f..%2f..%2fetc%2fpasswd",
        "%2e%2e/%2e%2e/etc/passwd",
        "....//....//etc/passwd",
        "..\\..\\windows\\win.ini",
        "%00",
        "cork-cube%00.toml",
        "/etc/passwd",
        "file:///etc/passwd",
        "'; DROP TABLE enclosure; --",
        "%ff%fe",
        "a" * 5_000,
    ],
)
@pytest.mark.parametrize(
    "below", ["enclosures", "rooms", "species", "alarms", "enclosures/cork-cube/journal"]
)
def test_paths_lead_nowhere(http: httpx.Client, below: str, path: str) -> None:
    """No file of this machine is told, and nothing is asked of it: it is simply not there."""
    escaped = path if "%" in path else quote(path, safe="")
    answer = http.get(f"/api/v1/{below}/{escaped}")

    assert 400 <= answer.status_code < 500
    assert "root:" not in answer.text


@pytest.fixture(scope="module")
def http(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """One house for all."""
    folder = tmp_path_factory.mktemp("house")
    with open_house(folder) as house:
        yield house.http


def test_a_set_up_cannot_name_files(house: House) -> None:
    """What comes over HTTP names ids, never paths: an id with a path's signs is refused."""
    for name in ("../x", "a/b", "a\\b", ".", "a\0b", "a b"):
        body = {"id": name, "name": "X"}
        answer = house.http.put(f"/api/v1/enclosures/{quote(name, safe='')}", json=body)
        assert 400 <= answer.status_code < 500, name
    assert house.now_ms == NOW_MS


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A house of its own."""
    with open_house(tmp_path) as built:
        yield built
