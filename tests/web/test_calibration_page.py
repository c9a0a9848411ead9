"""Calibration on the pages: from the salts chosen to a correction in force, and what is refused."""

import re

import numpy as np
import pytest

from monitor.analysis.calibration import Boxed, FixedPoint
from monitor.setup.calibration import Salt, corrected
from monitor.setup.models import Correction
from monitor.store.sqlite.state import setup
from monitor.store.sqlite.state.tokens import Scope
from monitor.times import HOUR_MS
from monitor.web import probe_words
from monitor.web.charts.approach import approach
from tests.support.salt_box import stand_in_box
from tests.web.conftest import MakeShow, Show, enclosure

PAGE = "/enclosures/cork-cube/probes/canopy/calibration"
ROOM_PROBES = "/rooms/back-room/probes"


@pytest.fixture
def show(make_show: MakeShow) -> Show:
    """A cube in a room; both have a probe."""
    room = {"id": "back-room", "name": "Back room", "probe": [{"id": "air"}]}
    return make_show({"room": [room], "enclosure": [enclosure(room="back-room")]})


def begin(show: Show, *salts: str) -> str:
    """Start a run; its page's address."""
    page = show.get(PAGE).text
    answer = show.submit(page, PAGE, [("salt", salt) for salt in salts])
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def wait_in_box(show: Show, raw: float, hours: float = 24) -> None:
    """Let hours pass in the box."""
    stand_in_box(show.readings, show.now_ms, hours, raw)
    show.now_ms += round(HOUR_MS * hours)


def press(show: Show, run: str, what: str) -> None:
    """Press a button of the run's page."""
    page = show.get(run).text
    assert f'name="do" value="{what}"' in page
    assert show.submit(page, run, [("do", what)]).status_code == 303


def test_two_salts_by_buttons_become_a_correction(show: Show) -> None:
    """35.2 and 73.9 at 20 °C: by hand gain 1.0960 and offset -5.51 (33.08 and 75.47, Greenspan)."""
    run = begin(show, "magnesium_chloride", "sodium_chloride", "", "")
    assert "Nothing has been heard from the probe" in show.get(run).text
    assert show.get(PAGE).headers["location"] == run
    wait_in_box(show, 35.2)
    page = show.get(run).text
    assert "At rest at 35.2" in page
    assert "fixed point is 33.1" in page
    assert "sodium chloride next" in page
    press(show, run, "next")
    wait_in_box(show, 73.9)
    press(show, run, "finish")
    page = show.get(run).text
    assert re.search(r"1\.09\d+ \S the reading -5\.[45]\d %", page)
    press(show, run, "apply")
    page = show.get(run).text
    assert "In force since" in page
    assert 'value="apply"' not in page
    probe = show.get("/api/v1/enclosures/cork-cube").json()["probe"][0]
    assert probe["calibration"]["humidity"]["gain"] == pytest.approx(1.096, abs=0.002)
    assert probe["calibration"]["humidity"]["offset"] == pytest.approx(-5.5, abs=0.1)
    assert "Calibrated on" in show.get("/enclosures/cork-cube/probes").text
    assert "put in force" in show.get(PAGE).text
    with show.database.transaction() as connection:
        place = setup.get(connection, "cork-cube").place
        by_hand = corrected(place, "canopy", Correction(offset=2.0))
        setup.put(connection, by_hand, who="ada", now_ms=show.now_ms)
    page = show.get(run).text
    assert "In force since" not in page
    assert "By now the set-up corrects this probe otherwise." in page


def test_before_it_rests_there_is_only_giving_up(show: Show) -> None:
    """No button to go on with; a form sent all the same is refused; giving up frees the probe."""
    run = begin(show, "sodium_chloride")
    wait_in_box(show, 74.0, hours=5)
    page = show.get(run).text
    assert "5 h in the box" in page
    assert 'value="finish"' not in page
    assert show.submit(page, run, [("do", "finish")]).status_code == 409
    assert "in the salt box" in show.get("/enclosures/cork-cube/probes").text
    press(show, run, "abandon")
    assert "was abandoned" in show.get(run).text
    assert show.get(PAGE).status_code == 200


@pytest.mark.parametrize(
    ("salts", "says"),
    [
        (["", "sodium_chloride"], probe_words.NO_SALT),
        (["pepper"], probe_words.NO_SALT),
        (["sodium_chloride", "sodium_chloride"], probe_words.SALT_TWICE),
        ([], probe_words.NO_SALT),
    ],
)
def test_a_wrong_choice_starts_nothing(show: Show, salts: list[str], says: str) -> None:
    """It says what would be right, and no run begins."""
    answer = show.submit(show.get(PAGE).text, PAGE, [("salt", salt) for salt in salts])
    assert answer.status_code == 422
    assert says in answer.text
    assert show.get("/api/v1/enclosures/cork-cube/probes/canopy/calibrations").json() == []


def test_each_salt_has_its_humidity_and_its_caution(show: Show) -> None:
    """Humidities at 20 °C as docs/calibration.md has them after Greenspan 1977."""
    page = show.get(PAGE).text
    for salt, humidity in (("Lithium chloride", "11.3"), ("Potassium sulfate", "97.6")):
        assert re.search(rf"{salt}</th><td[^>]*>{re.escape(humidity)} ± ", page)
    assert set(probe_words.CAUTIONS) == set(Salt)


def test_a_rooms_probe_has_the_same(show: Show) -> None:
    """Its page, linked from the enclosure's; out of service and back; a run of its own."""
    assert f'href="{ROOM_PROBES}"' in show.get("/enclosures/cork-cube/probes").text
    show.publish("dewkeep/back-room/air", 20.0, 50.0, since_h=1)
    page = show.get(ROOM_PROBES).text
    assert "Back room" in page
    assert "believed, just now" in page
    answer = show.submit(page, f"{ROOM_PROBES}/air/service", [("do", "out"), ("why", "wet")])
    assert answer.headers["location"] == f"{ROOM_PROBES}#air"
    assert "out of service: wet" in show.get(ROOM_PROBES).text
    address = f"{ROOM_PROBES}/air/calibration"
    answer = show.submit(show.get(address).text, address, [("salt", "sodium_chloride")])
    assert answer.headers["location"].startswith(f"{address}/")
    assert show.get(answer.headers["location"]).status_code == 200


def test_who_only_looks_starts_nothing(make_show: MakeShow) -> None:
    """A token of scope view sees the page without its form, and cannot send it."""
    show = make_show({"enclosure": [enclosure()]}, needs_token=True)
    viewer = show.token(Scope.VIEW)
    page = show.get(PAGE, viewer)
    assert page.status_code == 200
    assert f'action="{PAGE}"' not in page.text
    assert "at-work" not in show.get("/enclosures/cork-cube", viewer).text.split("<main")[1]


def test_the_drawing_is_true() -> None:
    """Ten-minute means at their hour, the fixed point as a band, on one scale (worked by hand)."""
    at_ms = np.array([0, 60_000, 6 * HOUR_MS, 12 * HOUR_MS])
    value = np.array([50.0, 52.0, 40.0, 36.0])
    drawn = approach(
        Boxed(0, at_ms, value, at_ms, value, pinned=False),
        12 * HOUR_MS,
        12.0,
        FixedPoint(33.0, 0.5),
    )
    assert drawn is not None
    assert drawn.band is not None
    points = [tuple(map(float, each.split(","))) for each in drawn.line.split()]
    assert len(points) == 3
    # The scale is linear through any two points: 51 (mean of 50 and 52) and 36.
    per_unit = (points[2][1] - points[0][1]) / (51.0 - 36.0)
    assert points[1][1] == pytest.approx(points[0][1] + 11.0 * per_unit, abs=0.02)
    assert drawn.band.line == pytest.approx(points[0][1] + 18.0 * per_unit, abs=0.02)
    assert drawn.band.height == pytest.approx(1.0 * per_unit, abs=0.02)
    assert drawn.earliest == pytest.approx(100 / 1.08, abs=0.01)


def test_nothing_is_drawn_of_nothing() -> None:
    """Before the first reading there is no drawing."""
    none = np.empty(0, np.int64)
    values = np.empty(0)
    assert approach(Boxed(0, none, values, none, values, pinned=False), HOUR_MS, 12.0, None) is None
