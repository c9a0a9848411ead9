"""The room page in a real Chromium, as narrow as the narrowest phone."""

import logging
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from monitor.times import rfc3339
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually
from tests.web.chromium import NARROWEST_PX, console, follow, script

pytestmark = pytest.mark.slow

log = logging.getLogger(__name__)

LEAST_TAP_PX = 44
"""What a thumb hits (WCAG 2.2, 2.5.5)."""
TOPIC = "dewkeep/cork-cube/canopy"


@pytest.fixture
def empty_daemon(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[RunningDaemon]:
    """A daemon without anything set up, whose alarms wait a second only."""
    quick = "\n[alarms]\non_delay_s = 1\noff_delay_s = 1\n"
    running = RunningDaemon(tmp_path, mosquitto.port, setup="", more=quick).start()
    running.wait_ready()
    yield running
    running.close()


def test_an_alarm_appears_by_itself_and_is_seen_by_keyboard(
    daemon: RunningDaemon, mosquitto: Mosquitto, browser: webdriver.Chrome
) -> None:
    """From empty to alarm to seen: no reload, no console message, no scrolling sideways."""
    address = f"http://127.0.0.1:{daemon.http_port}/"

    def text() -> str:
        return str(script(browser, "document.querySelector('main').innerText"))

    def fits() -> None:
        assert script(browser, "document.documentElement.scrollWidth") == NARROWEST_PX

    browser.get(address)
    assert "nothing heard yet" in text()
    fits()
    script(browser, "window.sameDocument = true")
    eventually(lambda: daemon.get("/health")["live"]["listeners"], "the page listening")

    start = int(time.time()) - 3600
    with Publisher(mosquitto.port) as probe:
        probe.send_all((TOPIC, senml(start + 30 * n, 23.0, 45.0 + n % 3)) for n in range(120))
    eventually(lambda: "Cork cube needs a hand." in text(), "the alarm on the page")
    assert script(browser, "window.sameDocument")
    fits()
    assert script(browser, "document.querySelector('.ribbon polyline').getTotalLength()") > 0

    for _ in range(12):
        if script(browser, "document.activeElement.tagName") != "BUTTON":
            browser.switch_to.active_element.send_keys(Keys.TAB)
    assert browser.switch_to.active_element.text == "I have seen it"
    browser.switch_to.active_element.send_keys(Keys.ENTER)
    eventually(lambda: "Seen at" in text(), "the alarm seen")
    assert browser.find_elements(By.TAG_NAME, "button") == []
    assert browser.current_url == f"{address}#cork-cube"

    loaded = script(browser, "performance.getEntriesByType('resource').map(each => each.name)")
    assert {each.startswith(address) for each in loaded} == {True}
    assert browser.get_log("browser") == []  # type: ignore[no-untyped-call]


def test_it_reads_and_acknowledges_without_scripts(
    daemon: RunningDaemon, mosquitto: Mosquitto, browser: webdriver.Chrome
) -> None:
    """With scripts off the page is whole and its button works."""
    start = int(time.time()) - 3600
    with Publisher(mosquitto.port) as probe:
        probe.send_all((TOPIC, senml(start + 30 * n, 23.0, 45.0 + n % 3)) for n in range(120))
    eventually(lambda: daemon.get("/alarms"), "the alarm")
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})

    browser.get(f"http://127.0.0.1:{daemon.http_port}/")
    assert browser.find_element(By.TAG_NAME, "h1").text == "1 enclosure: Cork cube needs a hand."
    follow(browser, By.TAG_NAME, "button")
    eventually(lambda: "Seen at" in browser.page_source, "the alarm seen")


def test_one_looks_closer_by_drawing_and_by_keys(
    daemon: RunningDaemon, mosquitto: Mosquitto, browser: webdriver.Chrome
) -> None:
    """A stroke across the strips, or a key, shows the new span with the store's values for it."""
    start = int(time.time()) - 20 * 3600
    with Publisher(mosquitto.port) as probe:
        probe.send_all((TOPIC, senml(start + 60 * n, 23.0, 70.0 + n % 7)) for n in range(1200))
    eventually(lambda: daemon.get("/health")["broker"]["received"] >= 1200, "all readings")
    page = f"http://127.0.0.1:{daemon.http_port}/enclosures/cork-cube"
    browser.get(page)

    def span() -> tuple[int, int]:
        spec = script(browser, "JSON.parse(document.getElementById('course-spec').textContent)")
        return spec["start"], spec["end"]

    first, last = span()
    row = browser.find_element(By.CSS_SELECTOR, ".strip .row")
    plot = browser.find_element(By.CSS_SELECTOR, ".plot")
    ActionChains(browser).move_to_element(row).perform()
    readout = browser.find_element(By.CSS_SELECTOR, ".readout").text
    assert "%" in readout

    width = plot.size["width"]
    stroke = ActionChains(browser).move_to_element_with_offset(row, -width // 4, 0)
    stroke.click_and_hold().move_by_offset(width // 4, 0).release().perform()
    eventually(lambda: span() != (first, last), "the new span")
    closer = span()
    assert (closer[1] - closer[0]) / (last - first) == pytest.approx(0.25, abs=0.03)
    assert f"from={closer[0]}" in browser.current_url
    spec = script(browser, "JSON.parse(document.getElementById('course-spec').textContent)")
    api = daemon.get(
        "/enclosures/cork-cube/series",
        probe="canopy",
        quantity="humidity",
        points=400,
        **{"from": rfc3339(closer[0]), "to": rfc3339(closer[1])},
    )
    assert spec["strips"][0]["points"] == [point[:4] for point in api["points"]]

    script(browser, "document.querySelector('.field-of-time').focus()")
    ActionChains(browser).send_keys("-").perform()
    eventually(lambda: span() != closer, "a wider span")
    wider = span()
    assert wider[1] - wider[0] == pytest.approx(2 * (closer[1] - closer[0]), abs=2)
    ActionChains(browser).send_keys(Keys.ARROW_LEFT).perform()
    eventually(lambda: span()[0] < wider[0], "an earlier span")
    ActionChains(browser).send_keys(Keys.HOME).perform()
    eventually(lambda: span()[1] >= last, "back to now")
    assert script(browser, "document.activeElement.className") == "field-of-time"
    assert console(browser) == []


def test_from_the_form_to_the_first_reading_to_the_tap(
    empty_daemon: RunningDaemon, mosquitto: Mosquitto, browser: webdriver.Chrome
) -> None:
    """Set up in the browser, heard over MQTT, alarmed without a reload, and seen by a tap."""
    address = f"http://127.0.0.1:{empty_daemon.http_port}"
    browser.get(f"{address}/setup")
    follow(browser, By.LINK_TEXT, "Add an enclosure")
    for name, text in (("name", "Moss jar"), ("id", "moss-jar"), ("probe-0-id", "floor")):
        browser.find_element(By.ID, name).send_keys(text)
    follow(browser, By.CSS_SELECTOR, "p > button[value=save]")
    eventually(lambda: browser.current_url == f"{address}/enclosures/moss-jar", "its page")
    follow(browser, By.LINK_TEXT, "Moss jar")
    browser.get(f"{address}/setup/enclosures/moss-jar")
    browser.find_element(By.CSS_SELECTOR, "details.ranges summary").click()
    for when in ("day", "night"):
        for end, text in (("low", "60"), ("high", "90")):
            name = f"range-floor-{when}-humidity-{end}"
            browser.find_element(By.NAME, name).send_keys(text)
    follow(browser, By.CSS_SELECTOR, "p > button[value=save]")
    eventually(lambda: browser.current_url == f"{address}/enclosures/moss-jar", "its page")

    browser.get(address)
    script(browser, "window.sameDocument = true")
    script(
        browser,
        "new MutationObserver(() => { if (document.title.includes('needs a hand'))"
        " window.shownAt ??= Date.now(); })"
        ".observe(document, {childList: true, subtree: true, characterData: true})",
    )
    eventually(lambda: empty_daemon.get("/health")["live"]["listeners"], "the page listening")
    start = int(time.time()) - 3600
    with Publisher(mosquitto.port) as probe:
        probe.send_all(
            ("dewkeep/moss-jar/floor", senml(start + 30 * n, 23.0, 45.0 + n % 3))
            for n in range(120)
        )
    eventually(lambda: empty_daemon.get("/alarms"), "the alarm")
    raised_ms = 1000 * time.time()
    eventually(lambda: script(browser, "window.shownAt"), "the alarm on the page", within_s=10)
    log.info("shown %.0f ms after the API had it", script(browser, "window.shownAt") - raised_ms)
    assert script(browser, "window.sameDocument")

    button = browser.find_element(By.CSS_SELECTOR, "#moss-jar button")
    browser.execute_script("arguments[0].scrollIntoView()", button)
    box = button.rect
    assert min(box["height"], box["width"]) >= LEAST_TAP_PX
    middle = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
    middle["y"] -= script(browser, "window.scrollY")
    for kind, points in (("touchStart", [middle]), ("touchEnd", [])):
        touch = {"type": kind, "touchPoints": points}
        browser.execute_cdp_cmd("Input.dispatchTouchEvent", touch)
    eventually(lambda: "Seen at" in browser.page_source, "the alarm seen")
    assert empty_daemon.get("/alarms")[0]["state"] == "acknowledged"
    assert console(browser) == []


def test_a_stranger_shows_as_it_comes(
    daemon: RunningDaemon, mosquitto: Mosquitto, browser: webdriver.Chrome
) -> None:
    """A topic that nobody is set up for appears on the set-up page by itself, with what to do."""
    browser.get(f"http://127.0.0.1:{daemon.http_port}/setup")
    script(browser, "window.sameDocument = true")
    with Publisher(mosquitto.port) as probe:
        probe.send_all([("dewkeep/cork-cube/floor", senml(int(time.time()), 21.0, 85.0))])
    link = "This is a probe of cork-cube"
    eventually(lambda: browser.find_elements(By.LINK_TEXT, link), "the stranger")
    assert script(browser, "window.sameDocument")
    follow(browser, By.LINK_TEXT, link)
    assert browser.find_element(By.ID, "probe-1-id").get_attribute("value") == "floor"
    assert console(browser) == []


def test_an_unknown_device_becomes_a_probe_by_clicks(
    tmp_path: Path, mosquitto: Mosquitto, browser: webdriver.Chrome
) -> None:
    """From its first message to its first stored reading: three clicks, no restart, no settings."""
    rack = '[[source]]\ntopic = "rack/{device}/state"\npayload = "json"\ntemperature = "/t"\n'
    name = "0x07 <b>苔<b>?&é"
    daemon = RunningDaemon(tmp_path, mosquitto.port, more=rack).start()
    try:
        daemon.wait_ready()
        browser.get(f"http://127.0.0.1:{daemon.http_port}/setup")
        with Publisher(mosquitto.port) as probe:
            probe.send_all([(f"rack/{name}/state", b'{"t": 21.5}')])
            link = "This is a probe of …"
            eventually(lambda: browser.find_elements(By.LINK_TEXT, link), "the stranger")
            assert f"rack/{name}/state" in browser.find_element(By.TAG_NAME, "main").text
            assert script(browser, "document.documentElement.scrollWidth") == NARROWEST_PX
            follow(browser, By.LINK_TEXT, link)
            assert browser.find_element(By.TAG_NAME, "h1").text == f"Which probe is {name}?"
            follow(browser, By.CSS_SELECTOR, "a[href*='cork-cube?device']")
            field = browser.find_element(By.ID, "probe-1-device")
            assert field.get_attribute("value") == name
            browser.find_element(By.ID, "probe-1-id").send_keys("floor")
            follow(browser, By.CSS_SELECTOR, "p > button[value=save]")
            assert daemon.get("/enclosures/cork-cube")["probe"][1]["device"] == name
            probe.send_all([(f"rack/{name}/state", b'{"t": 22.5}')])
        heard = eventually(
            lambda: [
                each["temperature"]["value"]
                for each in daemon.get("/enclosures/cork-cube/climate")["probes"]
                if each["probe"] == "floor" and "temperature" in each
            ],
            "its first reading",
        )
        assert heard == [22.5]
        browser.get(f"http://127.0.0.1:{daemon.http_port}/setup")
        assert browser.find_elements(By.LINK_TEXT, link) == []
        assert console(browser) == []
    finally:
        daemon.close()


def test_a_photo_is_sent_from_the_page(
    daemon: RunningDaemon, browser: webdriver.Chrome, tmp_path: Path
) -> None:
    """One tap writes the entry; a photo that is chosen then stands with it."""
    picture = tmp_path / "moult.png"
    Image.new("RGB", (640, 480), "olive").save(picture)
    browser.get(f"http://127.0.0.1:{daemon.http_port}/enclosures/cork-cube/journal")
    follow(browser, By.CSS_SELECTOR, "button[value=moult]")
    eventually(lambda: "written down" in browser.page_source, "the entry")
    browser.find_element(By.CSS_SELECTOR, "input[type=file]").send_keys(str(picture))
    eventually(
        lambda: script(browser, "document.querySelector('.photos img')?.naturalWidth"),
        "the small picture",
    )
    assert console(browser) == []
