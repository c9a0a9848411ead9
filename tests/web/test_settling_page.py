"""The settling page: the same verdict as the API, every criterion, and what it rests on."""

import html
import re

import pytest

from monitor.analysis.settling.criteria import Name, Result, Verdict
from monitor.setup.journal import Inspection, Source
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS
from monitor.web import words
from tests.web.conftest import NIGHT_MS, MakeShow, Show, enclosure

PAGE = "/enclosures/cork-cube/settling"


@pytest.fixture
def young(make_show: MakeShow) -> Show:
    """A build of nine days with a few looks inside, whose mould has come."""
    crew = [{"species": "trichorhina-tomentosa"}, {"species": "sinella-curviseta"}]
    show = make_show({"enclosure": [enclosure(built_on="2026-11-16", inhabitant=crew)]})
    show.publish("dewkeep/cork-cube/canopy", 22.0, 82.0, since_h=30)
    with show.database.transaction() as connection:
        for day, cover, isopods in ((8, 0, False), (5, 3, True), (2, 1, True)):
            look = Inspection(
                at=NIGHT_MS - day * DAY_MS,
                kind="inspection",
                mould_cover=cover,
                isopods_seen=isopods,
                springtails_seen=True,
            )
            journal.add(connection, "cork-cube", look, Source.KEEPER, NIGHT_MS)
    return show


def text(page: str) -> str:
    """A page without markup, in one line."""
    plain = html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\N{NO-BREAK SPACE}", " ")
    return re.sub(r"\s+", " ", plain)


def test_it_says_what_the_api_says(young: Show) -> None:
    """Verdict, what holds it up, and every criterion with what is required, none left out."""
    api = young.get(f"/api/v1{PAGE}").json()
    page = young.get(PAGE).text
    told = text(page)
    assert words.VERDICTS[api["verdict"]] in told
    assert words.capital(words.plain(api["holds_it_up"])) in told
    for each in api["criteria"]:
        assert words.capital(words.plain(each["says"])) in told
        assert f"Required: {words.plain(each['required'])}." in told
    met = sum(each["result"] == "pass" for each in api["criteria"])
    assert f"Criteria: {met} of {len(api['criteria'])} met" in told
    assert page.count("<strong>not met</strong>") == sum(
        each["result"] == "fail" for each in api["criteria"]
    )


def test_looks_are_drawn_and_told(young: Show) -> None:
    """A bar for each cover of mould, to scale; a mark for each look for the crew."""
    page = young.get(PAGE).text
    assert "At its worst mould in places (20 Nov); at the last look a speck of mould (23 Nov)." in (
        text(page)
    )
    heights = re.findall(r'class="cover"[^>]* height="([\d.]+)%"', page)
    assert heights == ["60.0", "20.0"]
    assert page.count('class="clean"') == 1
    assert "isopods seen at 2 of 3 looks" in text(page)


def test_it_begins_where_the_build_does(young: Show) -> None:
    """Nine days are not lost in nine weeks of axis."""
    page = young.get(PAGE).text
    assert "16 Nov" in page
    assert "11 Oct" not in page


def test_without_looks_it_asks_for_one(make_show: MakeShow) -> None:
    """What no probe can tell must be written down."""
    page = make_show({"enclosure": [enclosure()]}).get(PAGE).text
    assert "Nobody has looked inside yet." in page
    assert 'href="/enclosures/cork-cube/journal"' in page


def test_it_can_be_asked_as_of_then(young: Show) -> None:
    """A day that was is judged by what was known then."""
    told = text(young.get(f"{PAGE}?at=2026-11-22T12:00:00Z").text)
    assert "As of 22 Nov, 12:00." in told
    assert "at the last look mould in places (20 Nov)" in told


def test_every_verdict_and_criterion_has_words() -> None:
    """None can be added without its English."""
    assert set(words.VERDICTS) == set(Verdict)
    assert set(words.RESULTS) == set(Result)
    assert set(words.CRITERIA) == set(Name)
