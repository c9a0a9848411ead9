"""The room page in a real Chromium, as narrow as the narrowest phone."""

import time
from collections.abc import Iterator
from typing import Any

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto, program
from tests.support.waiting import eventually

pytestmark = pytest.mark.slow

TOPIC = "dewkeep/cork-cube/canopy"
NARROWEST_PX = 360


@pytest.fixture
def browser() -> Iterator[webdriver.Chrome]:
    """A headless Chromium with the screen of a small phone."""
    options = webdriver.ChromeOptions()
    options.binary_location = program("chromium")
    for argument in (
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        "--disable-background-networking",
    ):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options, Service(program("chromedriver")))
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": NARROWEST_PX, "height": 740, "deviceScaleFactor": 2, "mobile": True},
    )
    yield driver
    driver.quit()


def script(browser: webdriver.Chrome, expression: str) -> Any:
    """What an expression gives in the page."""
    return browser.execute_script(f"return {expression}")


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

    for _ in range(3):
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
