"""Every page in a real Chromium: on phone and desk, by day and by night, for every keeper."""

import base64
import os
import re
import time
from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver

from tests.house.telling import alarm, place, told
from tests.support.answering import Answering
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto, free_port
from tests.support.waiting import eventually
from tests.web.chromium import NARROWEST_PX, at_night, chromium, console, screen, script

pytestmark = pytest.mark.slow

PAGES = (
    "/",
    "/enclosures/cork-cube",
    "/enclosures/cork-cube?quantity=temperature&from=1700000000000&to=1900000000000",
    "/enclosures/cork-cube/settling",
    "/enclosures/cork-cube/probes",
    "/enclosures/cork-cube/probes/canopy/calibration",
    "/enclosures/cork-cube/misting",
    "/rooms/back-room/probes",
    "/alarms",
    "/journal",
    "/enclosures/cork-cube/journal",
    "/species",
    "/species/pogona-vitticeps",
    "/setup",
    "/setup/enclosures/cork-cube",
    "/setup/enclosures/-new",
    "/setup/rooms/back-room",
    "/setup/device?name=0x07",
    "/setup/enclosures/cork-cube?device=0x07",
    "/health",
    "/house",
    "/viewer",
    "/sign-in",
    "/nowhere",
)
SOURCES = """
[[source]]
topic = "dewkeep/{enclosure}/{probe}"
[[source]]
topic = "rack/{device}/state"
"""
DESK_PX = 1240
GRAVE = ("serious", "critical")


HOUSE = """
[share]
enclosures = ["cork-cube", "back-room"]

[[peer]]
name = "keeper-2"
url = "{url}"

[[peer]]
name = "keeper-3"
url = "http://127.0.0.1:{dead}"
"""
"""One other daemon that answers, and one that does not."""


@pytest.fixture
def peer() -> Iterator[Answering]:
    """keeper-2, with an alarm."""
    calling = place("driftwood", alarm("driftwood", priority="critical"))
    body = told("keeper-2", calling, "elm-root").model_dump_json().encode()
    server = Answering(lambda request: request.give(body))
    yield server
    server.close()


@pytest.fixture
def furnished(tmp_path: Path, mosquitto: Mosquitto, peer: Answering) -> Iterator[RunningDaemon]:
    """A daemon with an hour of readings, an alarm, a journal, and a device that nobody knows.

    It stands in a house of three; one enclosure is for the daemon that does not answer.
    """
    house = HOUSE.format(url=peer.url, dead=free_port())
    daemon = RunningDaemon(tmp_path, mosquitto.port, more=SOURCES + house).start()
    daemon.wait_ready()
    orphan = {"id": "fern-valley", "name": "Fern valley", "timezone": "Europe/Lisbon"}
    assert daemon.http.put("/api/v1/enclosures/fern-valley", json=orphan).is_success
    start = int(time.time()) - 3600
    with Publisher(mosquitto.port) as probe:
        probe.send_all([("rack/02:00:00:00:12:7f/state", senml(start, 23.0, 45.0))])
        probe.send_all(
            ("dewkeep/cork-cube/canopy", senml(start + 30 * n, 23.0 + n % 3 / 10, 45.0 + n % 3))
            for n in range(120)
        )
    eventually(lambda: daemon.get("/alarms"), "the alarm")
    at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(start + 600))
    daemon.post("/enclosures/cork-cube/journal", {"at": at, "kind": "misted", "seconds": 6})
    daemon.post("/enclosures/cork-cube/journal", {"at": at, "kind": "fed", "note": "two crickets"})
    eventually(lambda: daemon.get("/house")["daemons"][1]["answers"], "keeper-2 has answered")
    yield daemon
    daemon.close()


@pytest.fixture
def plain_browser() -> Iterator[webdriver.Chrome]:
    """A browser whose console holds the pages' complaints only."""
    driver = chromium()
    yield driver
    driver.quit()


def faults(browser: webdriver.Chrome) -> list[str]:
    """What axe-core finds gravely wrong for keepers who cannot see, or not well (WCAG 2.1 AA)."""
    axe = resources.files("axe_core_python") / "axe.min.js"
    browser.execute_script(axe.read_text(encoding="utf-8"))
    found: dict[str, Any] = browser.execute_async_script(
        "axe.run().then(arguments[arguments.length - 1])"
    )
    return [
        f"{each['id']}: {node['html']}"
        for each in found["violations"]
        if each["impact"] in GRAVE
        for node in each["nodes"]
    ]


def keep_picture(browser: webdriver.Chrome, name: str) -> None:
    """Keep a picture of the whole page in the folder that PICTURES names, if it names one."""
    folder = os.environ.get("PICTURES")
    if folder is not None:
        whole = {"captureBeyondViewport": True}
        taken = browser.execute_cdp_cmd("Page.captureScreenshot", whole)["data"]
        file = re.sub(r"[^A-Za-z0-9-]+", "_", name).strip("_") + ".png"
        Path(folder).mkdir(parents=True, exist_ok=True)
        Path(folder, file).write_bytes(base64.b64decode(taken))


def test_every_page_serves_every_keeper(
    furnished: RunningDaemon, plain_browser: webdriver.Chrome
) -> None:
    """No complaint, no foreign request, no scrolling sideways, no grave fault for anybody."""
    browser, address = plain_browser, f"http://127.0.0.1:{furnished.http_port}"
    problems: dict[str, list[str]] = {}
    for page in PAGES:
        for width in (NARROWEST_PX, DESK_PX):
            for dark in (False, True):
                screen(browser, width)
                at_night(browser, dark=dark)
                browser.get(address + page)
                loaded = script(
                    browser, "performance.getEntriesByType('resource').map(each => each.name)"
                )
                found = [
                    *(f"loads {each}" for each in loaded if not each.startswith(address)),
                    *(each for each in console(browser) if "nowhere" not in each),
                    *faults(browser),
                ]
                if script(browser, "document.documentElement.scrollWidth") > width:
                    found.append("scrolls sideways")
                keep_picture(browser, f"{page}-{width}-{'dark' if dark else 'light'}")
                if found:
                    problems[f"{page} at {width} px, {'dark' if dark else 'light'}"] = found
    assert problems == {}


def test_every_page_reads_without_scripts(
    furnished: RunningDaemon, plain_browser: webdriver.Chrome
) -> None:
    """With scripts off every page has its heading, its drawings and its words."""
    browser, address = plain_browser, f"http://127.0.0.1:{furnished.http_port}"
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    for page in PAGES:
        browser.get(address + page)
        assert browser.find_elements("css selector", "main h1"), page
    browser.get(f"{address}/enclosures/cork-cube")
    assert browser.find_element("css selector", ".strip .line").get_attribute("points")
    assert not browser.find_element("id", "course-keys").is_displayed()


def test_the_house_page_keeps_itself_fresh(
    furnished: RunningDaemon, plain_browser: webdriver.Chrome, peer: Answering
) -> None:
    """What a peer tells anew shows without a hand, though no event of this daemon tells of it."""
    browser = plain_browser
    browser.get(f"http://127.0.0.1:{furnished.http_port}/house")
    heading = browser.find_element("tag name", "h1").text
    assert heading == (
        "4 enclosures: nobody answers for Fern valley; DRIFTWOOD and Cork cube need a hand."
    )
    body = told("keeper-2", "driftwood", "elm-root").model_dump_json().encode()
    peer.answer = lambda request: request.give(body)

    calm = "4 enclosures: nobody answers for Fern valley; Cork cube needs a hand."
    shown = "document.querySelector('h1').textContent"
    eventually(lambda: script(browser, shown) == calm, "told anew", 60)
