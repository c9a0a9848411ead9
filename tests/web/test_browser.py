"""The room page in a real Chromium, as narrow as the narrowest phone."""

import time

import pytest
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from monitor.times import rfc3339
from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually
from tests.web.chromium import NARROWEST_PX, console, script

pytestmark = pytest.mark.slow

TOPIC = "dewkeep/cork-cube/canopy"


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
    browser.find_element(By.TAG_NAME, "button").click()
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
