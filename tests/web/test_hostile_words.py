"""Names and notes that are scripts, in a real browser with the content security policy off."""

import time
from pathlib import Path
from urllib.parse import urlencode

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By

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


def test_no_name_of_a_device_is_ever_carried_out(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Whoever may publish may call itself anything: as a stranger, in the forms, and as a probe."""
    rack = '[[source]]\ntopic = "rack/{device}/state"\n'
    daemon = RunningDaemon(tmp_path, mosquitto.port, more=rack).start()
    browser = chromium()
    try:
        daemon.wait_ready()
        names = [each for each in SCRIPTS if "/" not in each]
        with Publisher(mosquitto.port) as probe:
            probe.send_all((f"rack/{name}/state", b"[]") for name in names)
        eventually(
            lambda: len(daemon.get("/health")["rejected"]["recent"]) == len(names), "the strangers"
        )
        browser.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
        browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": TRAP})
        address = f"http://127.0.0.1:{daemon.http_port}"
        below = f"{address}/enclosures/cork-cube"
        assert not strikes(browser, f"{address}/setup")
        links = [
            str(each.get_attribute("href"))
            for each in browser.find_elements(By.PARTIAL_LINK_TEXT, "This is a probe of")
        ]
        assert len(links) == len(names)
        struck = [link for link in links if strikes(browser, link)]
        cube = daemon.get("/enclosures/cork-cube")
        for name in names:
            asked = urlencode({"probe": "canopy", "device": name})
            cube["probe"][0]["device"] = name
            put(daemon, "/enclosures/cork-cube", cube)
            pages = [f"{address}/setup/enclosures/cork-cube?{asked}", below, f"{below}/probes"]
            struck += [page for page in pages if strikes(browser, page)]
        assert struck == []
    finally:
        browser.quit()
        daemon.close()


def strikes(browser: webdriver.Chrome, address: str) -> bool:
    """Whether a page carries out what it shows; it must show something of it."""
    browser.get(address)
    assert MARK in browser.page_source or "/health" in address, address
    return bool(script(browser, "window.struck"))
