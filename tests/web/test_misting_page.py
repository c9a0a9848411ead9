"""The misting page: plans and what they rest on are those of the API; buttons write the journal."""

import html
import re
from collections.abc import Iterator

import numpy as np
import pytest

from monitor.quantities import Quantity
from monitor.setup.journal import ENTRY, Source
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS
from monitor.web import misting_words
from tests.analysis.misting.plain import Air, Story, story
from tests.web.conftest import NIGHT_MS, Show, enclosure

PAGE = "/enclosures/cork-cube/misting"
API = f"/api/v1{PAGE}"
DAYS = 6
WINDOW = {"canopy": {when: {"humidity": [50, 95]} for when in ("day", "night")}}


@pytest.fixture(scope="module")
def show(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Show]:
    """Six days of an enclosure that follows the balance, half of its mistings reported."""
    told = story(DAYS, Air(dose=5.0))
    cube = enclosure(range=WINDOW, volume_l=90, timezone="UTC")
    bare = enclosure("bare-box", "Bare box")
    show = Show(tmp_path_factory.mktemp("show"), {"enclosure": [cube, bare]}, needs_token=False)
    _live(show, told)
    show.loop.start()
    yield show
    show.loop.stop()
    show.close()


def _live(show: Show, told: Story) -> None:
    offset = (NIGHT_MS - told.end_ms) // DAY_MS * DAY_MS
    at_ms = told.climate.at_ms + offset
    count = len(at_ms)
    for quantity, value in (
        (Quantity.TEMPERATURE, told.climate.temperature),
        (Quantity.HUMIDITY, told.climate.humidity),
    ):
        (series,) = show.readings.series_ids([SeriesKey("cork-cube", "canopy", quantity)])
        show.readings.backfill(
            Readings(np.full(count, series), at_ms, value, np.zeros(count, np.uint8))
        )
    with show.database.transaction() as connection:
        for misted_ms in told.misted_ms[::2]:
            entry = ENTRY.validate_python(
                {"kind": "misted", "at": misted_ms + offset, "seconds": 10}
            )
            journal.add(connection, "cork-cube", entry, Source.MISTER, NIGHT_MS)


def text(page: str) -> str:
    """A page without its markup."""
    plain = html.unescape(re.sub(r"<[^>]+>", " ", page)).replace("\N{NO-BREAK SPACE}", " ")
    return re.sub(r"\s+", " ", plain)


def test_plans_stand_as_the_api_has_them(show: Show) -> None:
    """Times and figures of every plan; the one that is chosen is marked, and its day is drawn."""
    plans = show.get(API).json()["plans"]
    assert len(plans) >= 3
    page = show.get(f"{PAGE}?plan=2").text
    told = text(page)
    for number, plan in enumerate(plans, 1):
        assert f"Plan {number}" in told
        for time in plan["times"]:
            assert f"{time['at']} for {time['seconds']:g} s" in told
    for name, key, unit, scale in (
        ("In range, at least", "promised", "%", 100),
        ("Too damp", "too_wet", "%", 100),
        ("At 95 % or more, a day", "hours_near_saturation", "h", 1),
    ):
        row = re.search(rf"{name} ((?:[\d.]+ {unit} )+)", told)
        assert row
        shown = [float(each) for each in re.findall(r"[\d.]+", row[1])]
        expected = [scale * plan["predicted"][key] for plan in plans]
        assert shown == pytest.approx(expected, abs=0.56 if scale > 1 else 0.06)
    marked = re.findall(r'<a href="\?plan=(\d+)" aria-current="true">', page)
    assert marked == ["2"]
    assert 'class="hull" points="' in page
    assert "humidity through a day of plan 2" in told.lower()


def test_odds_are_told_in_plain_english(show: Show) -> None:
    """Nine of ten weeks, never "nine weeks in ten", wherever the page speaks of odds."""
    told = text(show.get(PAGE).text) + " ".join(
        re.findall(r'aria-label="([^"]*)"', show.get(PAGE).text)
    )
    for odds in ("in nine of ten weeks", "four of five days", "in nine of ten cases"):
        assert odds in told
    assert not re.search(r"\b\w+ (weeks|days|times) in (five|ten)\b", told)


def test_what_it_rests_on_is_told(show: Show) -> None:
    """Rates with intervals, the back-test beside the usual day, residuals, cautions."""
    found, page = show.get(API).json(), show.get(PAGE).text
    told = text(page)
    day = found["drying_rate_per_h"]["day"]
    rate = re.search(r"by day: ([\d.]+) per hour \(([\d.]+) to ([\d.]+)\)", told)
    assert rate
    shown = [float(each) for each in rate.groups()]
    assert shown == pytest.approx([day["value"], day["low"], day["high"]], abs=0.006)
    assert f"gone after {60 * np.log(2) / day['value']:.0f} min" in told
    assert f"off by {found['backtest']['rh_mae']:.1f} % humidity" in told
    assert f"{found['added_g_m3_per_s']['value']:.2f} g/m³" in told
    assert 'class="dots" d="M' in page
    for caution in misting_words.CAUTIONS:
        assert caution in told


def test_calendar_and_text_are_of_the_plan_that_is_shown(show: Show) -> None:
    """The links lead to that plan as of the same time."""
    page = show.get(f"{PAGE}?plan=2").text
    plan = show.get(API).json()["plans"][1]
    links = re.findall(rf'href="({API}/plan\.(?:ics|txt)[^"]*)"', page)
    assert len(links) == 2
    calendar, plain = (show.get(html.unescape(each)).text for each in links)
    assert calendar.count("BEGIN:VEVENT") == len(plan["times"])
    for time in plan["times"]:
        assert time["at"] in plain


def test_mistings_are_confirmed_and_rejected_by_buttons(show: Show) -> None:
    """Each writes its entry at the misting's time, and it is asked about no more."""
    address = f"{PAGE}/found"
    page = show.get(PAGE).text
    asked = re.findall(r'name="at" value="(\d+)"', page)
    assert len(asked) >= 2
    proof = show.hidden(PAGE, address)[0]
    for at, what in ((asked[0], "misted"), (asked[1], "none")):
        answer = show.post(address, [proof, ("at", at), ("is", what)])
        assert answer.headers["location"] == f"{PAGE}#mistings"
    after = re.findall(r'name="at" value="(\d+)"', show.get(PAGE).text)
    assert not {asked[0], asked[1]} & set(after)
    entries = show.get("/api/v1/enclosures/cork-cube/journal?kind=not_misted").json()
    assert [each["kind"] for each in entries] == ["not_misted"]
    assert show.post(address, [proof, ("at", "soon"), ("is", "misted")]).status_code == 422


def test_a_plan_is_taken_as_it_was_shown(show: Show) -> None:
    """The journal has its times, and the page asks whether it works."""
    page = show.get(PAGE).text
    plan = show.get(API).json()["plans"][0]
    assert show.submit(page, f"{PAGE}/take").headers["location"] == f"{PAGE}#taken"
    (entry,) = show.get("/api/v1/enclosures/cork-cube/journal?kind=misting_plan").json()
    assert [each["seconds"] for each in entry["times"]] == [s["seconds"] for s in plan["times"]]
    assert [each["at"][:5] for each in entry["times"]] == [s["at"] for s in plan["times"]]
    told = text(show.get(PAGE).text)
    assert "Did the last plan work?" in told
    assert "Cannot say yet, because" in told


def test_what_was_not_shown_is_not_taken(show: Show) -> None:
    """Times that are none are refused."""
    proof = show.hidden(PAGE, f"{PAGE}/take")[0]
    for time in ("25:00 10", "08:00 -3", "08:00"):
        assert show.post(f"{PAGE}/take", [proof, ("time", time)]).status_code == 422


def test_without_readings_it_says_why(show: Show) -> None:
    """No plan out of nothing: one sentence, no table, the cautions."""
    page = show.get("/enclosures/bare-box/misting")
    told = text(page.text)
    assert page.status_code == 200
    assert misting_words.CANNOT_TITLE in told
    assert "Because there are no readings" in told
    assert "Plans side by side" not in told
