"""Names and notes that are scripts, in a real browser with the content security policy off."""

import time

import pytest
from selenium import webdriver

from tests.hostile.test_names import MARK, SCRIPTS
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually
from tests.web.chromium import chromium, script

pytestmark = pytest.mark.slow

OF_ALL = ("/", "/alarms", "/journal", "/setup", "/health", "/setup/rooms/back-room")
OF_ONE = ("", "/settling", "/probes", "/misting", "/journal", "/handover", "/settling/report")
TRAP = f"window.{MARK} = () => {{ window.struck = true }}"
LIMITS = {"canopy": {"day": {"humidity": [60, 90]}, "night": {"humidity": [60, 90]}}}


def enclosure(number: int, name: str) -> dict[str, object]:
    """An enclosure of that name."""
    probe = [{"id": "canopy", "zone": "canopy"}]
    return {
        "id": f"hostile-{number}",
        "name": name,
        "room": "back-room",
        "probe": probe,
        "range": LIMITS,
    }


def put(daemon: RunningDaemon, path: str, body: object) -> None:
    """Set something up."""
    answer = daemon.http.put(f"/api/v1{path}", json=body)
    assert answer.is_success, answer.text


def dry(start_s: float) -> list[bytes]:
    """Half an hour of air that is far too dry."""
    return [senml(start_s + 60 * minute, 23.0, 45.0) for minute in range(30)]


def test_no_word_of_a_keeper_is_ever_carried_out(
    daemon: RunningDaemon, mosquitto: Mosquitto
) -> None:
    """Escaped wherever it is shown: on every page, and in what live pages put into themselves."""
    put(daemon, "/rooms/back-room", {"id": "back-room", "name": SCRIPTS[0]})
    at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time.time() - 60))
    for number, name in enumerate(SCRIPTS):
        put(daemon, f"/enclosures/hostile-{number}", enclosure(number, name))
        entry = {"at": at, "kind": "fed", "note": "\n".join(SCRIPTS)}
        daemon.post(f"/enclosures/hostile-{number}/journal", entry)
    address = f"http://127.0.0.1:{daemon.http_port}"
    browser = chromium()
    try:
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
        browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": TRAP})
        browser.get(f"data:text/html,<script>{MARK}()</script>")
        assert script(browser, "window.struck"), "the trap works"

        browser.get(address)
        with Publisher(mosquitto.port) as probe:
            topic = "dewkeep/hostile-1/canopy"
            probe.send_all((topic, payload) for payload in dry(time.time() - 1800))
        eventually(lambda: daemon.get("/alarms"), "the alarm")
        eventually(lambda: "45" in browser.page_source, "the alarm on the page")
        assert not script(browser, "window.struck"), "the live page"
        struck = [page for page in OF_ALL if strikes(browser, address + page)]
        for number in range(len(SCRIPTS)):
            below = f"{address}/enclosures/hostile-{number}"
            struck += [page for page in OF_ONE if strikes(browser, below + page)]
        assert struck == []
    finally:
        browser.quit()


def strikes(browser: webdriver.Chrome, address: str) -> bool:
    """Whether a page carries out what it shows; it must show something of it."""
    browser.get(address)
    assert MARK in browser.page_source or "/health" in address, address
    return bool(script(browser, "window.struck"))
