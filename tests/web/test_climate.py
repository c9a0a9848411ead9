"""The climate page in-process: what it shows is what the API and the store have."""

import json
import re
from typing import Any

import pytest

from monitor.setup.journal import Fed, Source
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS, HOUR_MS
from tests.web.conftest import NIGHT_MS, MakeShow, Show, enclosure

TOPIC = "dewkeep/cork-cube/"
PAGE = "/enclosures/cork-cube"


@pytest.fixture
def layered(make_show: MakeShow) -> Show:
    """A canopy that dries at night above a moist floor, a misting and a feeding."""
    probes = [{"id": "floor", "zone": "floor"}, {"id": "canopy", "zone": "canopy"}]
    show = make_show(
        {"room": [{"id": "back", "name": "Back"}], "enclosure": [enclosure(probe=probes)]}
    )
    show.publish(TOPIC + "canopy", 22.0, 82.0, since_h=6, until_h=1)
    show.publish(TOPIC + "canopy", 22.0, 64.0, since_h=0.9)
    show.publish(TOPIC + "floor", 21.0, 90.0, since_h=6)
    show.mist("cork-cube", NIGHT_MS - 3 * HOUR_MS, 6.0)
    entry = Fed(at=NIGHT_MS - 2 * HOUR_MS, kind="fed", note="two <crickets>")
    with show.database.transaction() as connection:
        journal.add(connection, "cork-cube", entry, Source.KEEPER, NIGHT_MS)
    return show


def spec(page: str) -> dict[str, Any]:
    """The numbers that a script reads from a page."""
    found = re.search(r'<script type="application/json" id="course-spec">(.*?)</script>', page)
    assert found, page
    served: dict[str, Any] = json.loads(found[1])
    return served


def test_the_numbers_served_are_the_stores(layered: Show) -> None:
    """Every strip's points are those that the API gives for the same span, to the last digit."""
    page = layered.get(PAGE).text
    served = spec(page)
    assert [strip["probe"] for strip in served["strips"]] == ["canopy", "floor"]
    links = re.findall(r'href="(/api/v1/[^"]+)"', page)
    assert len(links) == 2
    for strip, link in zip(served["strips"], links, strict=True):
        api = layered.get(link.replace("&amp;", "&")).json()
        assert strip["resolution_s"] == api["resolution_s"]
        assert strip["points"] == [point[:4] for point in api["points"]]
        assert len(strip["points"]) > 50


def test_it_says_what_it_draws(layered: Show) -> None:
    """Without seeing a line: the state, each layer's extremes and share, the journal."""
    page = layered.get(PAGE).text
    assert "Too dry since 02:18" in page
    assert "I have seen it" in page
    assert re.search(
        r"<strong>canopy</strong> <span class=\"quiet\">64\N{EN DASH}82.% *, in range", page
    )
    assert "in range all of the time" in page or "floor" in page
    assert "Misted for 6" in page
    assert "two &lt;crickets&gt;" in page
    assert 'class="flag fed"' in page
    assert "The air&#39;s path" in page or "The air's path" in page


def test_quantities_and_spans_are_links(layered: Show) -> None:
    """Without a script one chooses what to see, and moves in time, by links that work."""
    page = layered.get(f"{PAGE}?quantity=dew_point").text
    assert "Dew point, in the last 24 hours" in page
    assert spec(page)["sign"] == "°C"
    assert "Surface temperature" not in page
    week = re.search(r'href="(\?[^"]+)">Week<', page)
    assert week
    page = layered.get(PAGE + week[1].replace("&amp;", "&")).text
    served = spec(page)
    assert served["end"] - served["start"] == 7 * DAY_MS
    assert served["quantity"] == "dew_point"
    earlier = re.search(r'href="(\?[^"]+)" rel="prev"', page)
    assert earlier
    before = spec(layered.get(PAGE + earlier[1].replace("&amp;", "&")).text)
    assert (before["end"], before["start"]) == (served["start"], served["start"] - 7 * DAY_MS)
    assert before["strips"][0]["points"] == []


def test_a_part_is_the_same_as_in_the_whole(layered: Show) -> None:
    """What a script fetches to zoom is the course of the page, without the page."""
    span = f"?quantity=humidity&from={NIGHT_MS - HOUR_MS}&to={NIGHT_MS}"
    part = layered.get(f"{PAGE}/course{span}").text
    assert spec(part) == spec(layered.get(PAGE + span).text)
    assert "<html" not in part
    assert spec(part)["strips"][0]["resolution_s"] == 0


@pytest.mark.parametrize(
    "span",
    ["?from=0&to=0", "?from=5&to=1", f"?from=0&to={10**18}", f"?from={10**15}&to={10**15 + 1}"],
)
def test_odd_spans_are_made_whole(layered: Show, span: str) -> None:
    """No span is too short, too long or too far away for a page."""
    answer = layered.get(PAGE + span)
    assert answer.status_code == 200
    served = spec(answer.text)
    assert served["start"] < served["end"] <= NIGHT_MS + HOUR_MS


def test_the_viewers_units_hold_everywhere(layered: Show) -> None:
    """°F on the axes, in the words, on the plane."""
    layered.cookies.set("dewkeep_view", "F.hPa.auto")
    page = layered.get(f"{PAGE}?quantity=temperature").text
    assert "°C" not in page
    assert "vapour pressure, hPa" in page
    assert "69.8\N{EN DASH}" in page  # 21 °C on the floor
    assert spec(page)["strips"][1]["points"][0][1] == pytest.approx(21.1, abs=0.2)


def test_the_plane_can_show_another_probe(layered: Show) -> None:
    """The topmost at first; any other by its link."""
    assert "Canopy. The path" in layered.get(PAGE).text
    assert "Floor. The path" in layered.get(f"{PAGE}?probe=floor").text


def test_an_enclosure_that_was_never_heard_says_so(make_show: MakeShow) -> None:
    """No empty axes: a sentence, and the topic to publish on."""
    page = make_show({"enclosure": [enclosure()]}).get(PAGE).text
    assert "No probe of this enclosure has reported humidity" in page
    assert '<svg class="row' not in page


@pytest.mark.parametrize("place", ["nowhere", "back"])
def test_only_enclosures_have_a_climate_page(layered: Show, place: str) -> None:
    """What is not set up, or a room, is a page that says so."""
    answer = layered.get(f"/enclosures/{place}")
    assert answer.status_code == 404
    assert place in answer.text


def test_a_picture_is_kept_and_changes_with_its_address(layered: Show) -> None:
    """The picture of an enclosure may be kept for a year: another one has another address."""
    page = layered.page()
    address = re.search(r'<img src="([^"]+)"', page)
    assert address
    answer = layered.get(address[1])
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "immutable" in answer.headers["cache-control"]
    assert address[1].startswith("/enclosures/cork-cube/night.svg?v=")
