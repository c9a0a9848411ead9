"""The misting page: what the API found, in words, and a plan that can be taken up."""

import html
import re

import numpy as np
import pytest

from monitor.quantities import Quantity
from monitor.setup.journal import Misted, Source
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS, MINUTE_MS
from monitor.web import words
from tests.analysis.misting.plain import Air, story
from tests.web.conftest import MakeShow, Show, enclosure

PAGE = "/enclosures/cork-cube/misting"
WINDOW = {"canopy": {when: {"humidity": [50, 95]} for when in ("day", "night")}}


@pytest.fixture
def misted(make_show: MakeShow) -> Show:
    """An enclosure that lived six days of a told story, with its mistings reported."""
    told = story(6, Air(dose=5.0))
    show = make_show({"enclosure": [enclosure(range=WINDOW, volume_l=90)]})
    offset = (show.now_ms - told.end_ms) // DAY_MS * DAY_MS
    show.now_ms = told.end_ms + offset + MINUTE_MS
    at_ms = told.climate.at_ms + offset
    for quantity, value in (
        (Quantity.TEMPERATURE, told.climate.temperature),
        (Quantity.HUMIDITY, told.climate.humidity),
    ):
        (series,) = show.readings.series_ids([SeriesKey("cork-cube", "canopy", quantity)])
        of = np.full(len(at_ms), series)
        show.readings.backfill(Readings(of, at_ms, value, np.zeros(len(at_ms), np.uint8)))
    with show.database.transaction() as connection:
        for at in told.misted_ms:
            entry = Misted(at=at + offset, kind="misted", seconds=10.0)
            journal.add(connection, "cork-cube", entry, Source.MISTER, show.now_ms)
    return show


def text(page: str) -> str:
    """A page without markup, in one line."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", page)))


def test_plans_are_those_of_the_api(misted: Show) -> None:
    """Every plan with its times as drops on a day, why, and what it is predicted to give."""
    api = misted.get(f"/api/v1{PAGE}").json()
    page = misted.get(PAGE).text
    told = text(page)
    assert words.PLANS in told
    assert api["plans"]
    for number, plan in enumerate(api["plans"], 1):
        assert f"Plan {number}: {len(plan['times'])} a day" in told
        assert words.capital(words.plain(plan["why"])) in told
        for each in plan["times"]:
            assert f"{each['at']} {each['seconds']:g} s" in told
    assert page.count('class="drop"') == sum(len(plan["times"]) for plan in api["plans"])
    rate = api["drying_rate_per_h"]["day"]
    assert f"{rate['value']:.3g} times an hour" in told


def test_a_plan_is_taken_up_in_the_journal(misted: Show) -> None:
    """One tap writes it down, so that what it does can be followed."""
    page = misted.get(PAGE).text
    wanted = misted.get(f"/api/v1{PAGE}").json()["plans"][0]["times"]
    answer = misted.submit(page, PAGE, [("plan", "1")])
    assert answer.status_code == 303
    assert "Misting plan taken up written down" in text(misted.get(answer.headers["location"]).text)
    (entry,) = misted.get("/api/v1/enclosures/cork-cube/journal?kind=misting_plan").json()
    assert entry["times"] == wanted
    assert misted.submit(page, PAGE, [("plan", "99")]).status_code == 409


def test_why_there_is_no_plan_is_said(make_show: MakeShow) -> None:
    """Without readings: no empty tables, a reason."""
    show = make_show({"enclosure": [enclosure()]})
    api = show.get(f"/api/v1{PAGE}").json()
    told = text(show.get(PAGE).text)
    assert words.NO_PLAN in told
    assert words.capital(api["cannot"]) in told
    assert "How this air dries" not in told
