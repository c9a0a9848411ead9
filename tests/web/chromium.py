"""A real Chromium for tests: how it is started, and what is asked of a page."""

from typing import Any

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.support.expected_conditions import staleness_of
from selenium.webdriver.support.ui import WebDriverWait

from tests.support.servers import program

NARROWEST_PX = 360
"""The screen of a small phone."""
LOADED_WITHIN_S = 20.0


def chromium() -> webdriver.Chrome:
    """A headless Chromium with a narrow screen, that keeps its console."""
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
    screen(driver, NARROWEST_PX)
    return driver


def screen(browser: webdriver.Chrome, width: int) -> None:
    """Give the browser a screen of another width; a narrow one is a phone's."""
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 740, "deviceScaleFactor": 2, "mobile": width == NARROWEST_PX},
    )


def follow(browser: webdriver.Chrome, by: str, name: str) -> None:
    """Press what leads to another page, and wait until that page has taken this one's place.

    A click alone may return while the old page still stands; its elements are gone a moment later.
    """
    old = browser.find_element(By.TAG_NAME, "html")

    def pressed(browser: webdriver.Chrome) -> bool:
        browser.find_element(by, name).click()
        return True

    # A page that draws itself anew may do so between the finding and the click.
    redrawn = (StaleElementReferenceException,)
    WebDriverWait(browser, LOADED_WITHIN_S, ignored_exceptions=redrawn).until(pressed)
    WebDriverWait(browser, LOADED_WITHIN_S).until(staleness_of(old))


def at_night(browser: webdriver.Chrome, *, dark: bool) -> None:
    """Say that the device likes dark colours, or light ones."""
    likes = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [likes]})


def script(browser: webdriver.Chrome, expression: str) -> Any:
    """What an expression gives in the page."""
    return browser.execute_script(f"return {expression}")


def console(browser: webdriver.Chrome) -> list[str]:
    """What the page has complained about since the last time."""
    return [str(each["message"]) for each in browser.get_log("browser")]  # type: ignore[no-untyped-call]
