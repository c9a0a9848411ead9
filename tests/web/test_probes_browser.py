"""Calibration and misting in a real Chromium: for every keeper, and without scripts."""

import time

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from tests.support.daemon import RunningDaemon
from tests.support.publisher import Publisher, senml
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually
from tests.web.chromium import NARROWEST_PX, console, follow, screen, script
from tests.web.test_every_page import DESK_PX, faults

pytestmark = pytest.mark.slow

CUBE = "/enclosures/cork-cube"
TOPIC = "dewkeep/cork-cube/canopy"
NAMES = ".rest text[class*=name]"
STRUCK_OUT = f"""[...document.querySelectorAll("{NAMES}")].filter(name => {{
  const at = name.getBoundingClientRect();
  return [...document.querySelectorAll(".rest .fixed, .rest .line, .rest .least")].some(line => {{
    const drawn = line.getBoundingClientRect();
    return drawn.top < at.bottom && drawn.bottom > at.top &&
      drawn.left < at.right && drawn.right > at.left;
  }});
}}).map(name => name.textContent)"""
"""The names in the drawing through which a line goes."""


@pytest.mark.parametrize("reads", [74.0, 85.0])
def test_a_salt_box_is_followed_without_a_reload(
    daemon: RunningDaemon, mosquitto: Mosquitto, browser: webdriver.Chrome, reads: float
) -> None:
    """Started by the form; what the probe then says is drawn by itself, on phone and desk.

    No name in the drawing lies on a line of it, whether the probe reads too low or too high.
    """
    address = f"http://127.0.0.1:{daemon.http_port}"
    browser.get(f"{address}{CUBE}/probes/canopy/calibration")
    Select(browser.find_element(By.ID, "salt-0")).select_by_value("sodium_chloride")
    Select(browser.find_element(By.ID, "salt-1")).select_by_value("")
    follow(browser, By.CSS_SELECTOR, ".salts > button")
    eventually(lambda: "is in the salt box" in browser.title, "the run")
    assert "Nothing has been heard" in browser.page_source
    script(browser, "window.sameDocument = true")
    eventually(lambda: daemon.get("/health")["live"]["listeners"], "the page listening")
    with Publisher(mosquitto.port) as probe:
        probe.send_all([(TOPIC, senml(time.time(), 22.0, reads))])
    eventually(lambda: "fixed point is 75.4" in browser.page_source, "the drawing", within_s=30)
    assert script(browser, "window.sameDocument")
    for width in (NARROWEST_PX, DESK_PX):
        screen(browser, width)
        assert script(browser, "document.documentElement.scrollWidth") <= width
        assert faults(browser) == []
        assert len(browser.find_elements(By.CSS_SELECTOR, NAMES)) == 2
        assert script(browser, STRUCK_OUT) == []
    assert console(browser) == []


def test_all_of_it_works_without_scripts(daemon: RunningDaemon, browser: webdriver.Chrome) -> None:
    """A run is started and given up, work is said and ended, by forms alone."""
    address = f"http://127.0.0.1:{daemon.http_port}"
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    browser.get(f"{address}{CUBE}/probes/canopy/calibration")
    follow(browser, By.CSS_SELECTOR, ".salts > button")
    eventually(lambda: "is in the salt box" in browser.title, "the run")
    follow(browser, By.LINK_TEXT, "Look again")
    follow(browser, By.CSS_SELECTOR, "button[value=abandon]")
    eventually(lambda: "was abandoned" in browser.title, "the end of it")

    browser.get(f"{address}{CUBE}")
    follow(browser, By.CSS_SELECTOR, ".at-work button[value='60']")
    eventually(lambda: daemon.get("/suppressions"), "the quiet")
    assert "said by" in browser.find_element(By.CLASS_NAME, "at-work").text
