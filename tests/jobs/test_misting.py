"""Misting from the store to the API, the calendar and the command line."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from icalendar import Calendar

from monitor.cli import main
from monitor.errors import NotFound
from monitor.jobs.misting import MistingDesk, wire
from monitor.quantities import Quantity
from monitor.setup.journal import ENTRY, Source
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import journal
from monitor.times import DAY_MS, MINUTE_MS, parse_rfc3339, rfc3339
from tests.analysis.misting.plain import Air, Story, story
from tests.support.house import NOW_MS, House
from tests.support.house import house as open_house

URL = "/api/v1/enclosures/cork-cube/misting"
DAYS = 6
NOW = NOW_MS // (10 * MINUTE_MS) * (10 * MINUTE_MS)
WINDOW = {"canopy": {when: {"humidity": [50, 95]} for when in ("day", "night")}}


def events_of(stream: str) -> list[Any]:
    """The events of a stream, as another reader finds them."""
    return list(Calendar.from_ical(stream).walk("VEVENT"))


@pytest.fixture(scope="module")
def told() -> Story:
    """Six days that end about now; the enclosure's clock is the story's in November."""
    return story(DAYS, Air(dose=5.0))


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, told: Story) -> Iterator[House]:
    """A house whose cork cube lived that story, with every second misting in the journal."""
    with open_house(tmp_path_factory.mktemp("house")) as built:
        place = built.http.get("/api/v1/enclosures/cork-cube").json()
        changed = place | {"range": WINDOW, "inhabitant": [], "volume_l": 90}
        assert built.http.put("/api/v1/enclosures/cork-cube", json=changed).status_code == 200
        offset = _offset(told)
        at_ms = (told.climate.at_ms + offset).tolist()
        for quantity, value in (
            (Quantity.TEMPERATURE, told.climate.temperature),
            (Quantity.HUMIDITY, told.climate.humidity),
        ):
            built.backfill(SeriesKey("cork-cube", "canopy", quantity), at_ms, value.tolist())
        with built.database.transaction() as connection:
            for misted_ms in told.misted_ms[::2]:
                entry = ENTRY.validate_python(
                    {"kind": "misted", "at": misted_ms + offset, "seconds": 10}
                )
                journal.add(connection, "cork-cube", entry, Source.MISTER, NOW_MS)
        yield built


def _offset(told: Story) -> int:
    """Whole days, so that the hours of the story stay what they are."""
    return (NOW - told.end_ms) // DAY_MS * DAY_MS


@pytest.fixture(scope="module")
def answer(house: House) -> dict[str, Any]:
    """What the API says of it."""
    got = house.http.get(URL)
    assert got.status_code == 200
    found: dict[str, Any] = got.json()
    return found


def test_the_contract_is_kept(house: House) -> None:
    """The agreed keys, and the same as the desk says."""
    answer = house.http.get(URL).json()

    assert answer == json.loads(json.dumps(wire(house.parts.misting.report("cork-cube", NOW))))
    assert (answer["enclosure"], answer["probe"], answer["cannot"]) == ("cork-cube", "canopy", None)
    assert answer["at"] == rfc3339(NOW)
    assert set(answer["drying_rate_per_h"]) == {"day", "night"}
    assert set(answer["drying_rate_per_h"]["day"]) == {"value", "low", "high"}
    assert {"value", "low", "high"} <= set(answer["added_g_m3_per_s"])
    assert {"at", "seconds", "source", "confidence"} <= set(answer["mistings"][0])
    assert answer["backtest"]["rh_mae"] < 4.0
    plan = answer["plans"][0]
    assert {"at", "seconds"} == set(plan["times"][0])
    assert {"time_in_range", "hours_near_saturation", "water_ml_per_day"} <= set(plan["predicted"])
    assert plan["predicted"]["water_ml_per_day"] > 0.0


def test_truth_comes_through(answer: dict[str, Any]) -> None:
    """The rate and the water that the story was made with."""
    rate = answer["drying_rate_per_h"]["day"]
    assert rate["low"] <= 1.5 <= rate["high"]
    assert answer["added_g_m3_per_s"]["value"] == pytest.approx(0.5, rel=0.05)


def test_mistings_are_confirmed_and_rejected_through_the_journal(house: House) -> None:
    """A `misted` entry makes a found one the keeper's, a `not_misted` entry takes it away."""
    before = house.http.get(f"{URL}/mistings").json()
    first, second = [each for each in before if each["source"] == "air"][:2]
    for kind, each in (("misted", first), ("not_misted", second)):
        written = house.http.post(
            "/api/v1/enclosures/cork-cube/journal", json={"kind": kind, "at": each["at"]}
        )
        assert written.status_code == 201

    after = {each["at"]: each for each in house.http.get(f"{URL}/mistings").json()}

    assert after[first["at"]]["source"] == "journal"
    assert after[first["at"]]["confidence"] == 0.99
    assert second["at"] not in after
    assert len(after) == len(before) - 1


def test_any_schedule_can_be_tried(house: House) -> None:
    """More mist is more humidity and less time too dry; the course has a band for every step."""

    def tried(times: list[dict[str, object]]) -> dict[str, Any]:
        got = house.http.post(f"{URL}/predict", json={"times": times})
        assert got.status_code == 200
        found: dict[str, Any] = got.json()["predicted"]
        return found

    none = tried([])
    some = tried([{"at": "08:30", "seconds": 10}, {"at": "19:00", "seconds": 10}])
    course = some["course"]["humidity"]

    assert some["too_dry"] <= none["too_dry"]
    assert some["water_ml_per_day"] > none["water_ml_per_day"] == 0.0
    assert max(course["middle"]) > max(none["course"]["humidity"]["middle"]) + 5.0
    steps = 1440 // some["course"]["step_min"]
    assert {len(column) for column in course.values()} == {steps}
    assert all(low <= high for low, high in zip(course["low"], course["high"], strict=True))


@pytest.mark.parametrize(
    ("times", "field"),
    [([{"at": 830, "seconds": 10}], "at"), ([{"at": "08:30", "seconds": 0}], "seconds")],
)
def test_a_schedule_that_makes_no_sense_is_refused(
    house: House, times: list[dict[str, object]], field: str
) -> None:
    """With the field that is wrong."""
    got = house.http.post(f"{URL}/predict", json={"times": times})

    assert got.status_code == 422
    assert field in got.json()["errors"][0]["field"]


def test_a_plan_leaves_in_three_forms(house: House, answer: dict[str, Any]) -> None:
    """JSON, text and iCalendar tell the same times."""
    times = answer["plans"][0]["times"]
    told = house.http.get(f"{URL}/plan.json").json()
    text = house.http.get(f"{URL}/plan.txt")
    stream = house.http.get(f"{URL}/plan.ics")

    assert told["times"] == times
    assert told["timezone"] == "Europe/Lisbon"
    assert text.headers["content-type"].startswith("text/plain")
    assert all(f"{each['at']}  {each['seconds']:5g} s" in text.text for each in times)
    assert "nothing here drives a mister" in text.text
    assert stream.headers["content-type"].startswith("text/calendar")
    events = events_of(stream.text)
    assert [f"{event['DTSTART'].dt:%H:%M}" for event in events] == [each["at"] for each in times]
    assert {f"{event['DTSTART'].dt:%Y-%m-%d}" for event in events} == {"2026-11-26"}


def test_a_plan_that_is_not_there_is_told_as_such(house: House) -> None:
    """A number beyond the last, a form nobody knows, an enclosure without readings."""
    beyond = house.http.get(f"{URL}/plan.txt", params={"number": 99})
    strange = house.http.get(f"{URL}/plan.pdf")
    early = house.http.get(f"{URL}/plan.ics", params={"at": "2026-01-01T00:00:00Z"})

    assert (beyond.status_code, strange.status_code, early.status_code) == (404, 422, 409)
    assert "because there are no readings" in early.json()["detail"]


def test_where_nothing_can_be_said_it_says_so(house: House) -> None:
    """As of a time without readings: 200, `cannot`, and nothing made up."""
    early = {"at": "2026-01-01T00:00:00Z"}
    told = house.http.get(URL, params=early).json()
    tried = house.http.post(f"{URL}/predict", params=early, json={"times": []}).json()

    assert told["cannot"].startswith("there are no readings")
    assert (told["plans"], told["mistings"], told["drying_rate_per_h"]["day"]) == ([], [], None)
    assert tried["predicted"] is None
    assert tried["cannot"].startswith("there are no readings")


def test_only_enclosures_and_their_probes_can_be_asked_about(house: House) -> None:
    """A room, an unknown enclosure and an unknown probe are not found."""
    for path in ("back-room/misting", "nowhere/misting", "cork-cube/misting?probe=roof"):
        assert house.http.get(f"/api/v1/enclosures/{path}").status_code == 404


def test_a_plan_that_was_taken_is_followed_up(house: House, told: Story) -> None:
    """Too early to tell on the day itself, and it says how many days it takes."""
    entry = {
        "kind": "misting_plan",
        "at": rfc3339(NOW - DAY_MS),
        "times": [{"at": "08:30", "seconds": 10}],
    }
    written = house.http.post("/api/v1/enclosures/cork-cube/journal", json=entry)
    assert written.status_code == 201
    assert written.json()["times"] == entry["times"]

    taken = house.http.get(URL).json()["taken"]

    assert taken["since"] == entry["at"]
    assert taken["times"] == [{"at": "08:30", "seconds": 10.0}]
    assert "it takes 4" in taken["cannot"]
    assert parse_rfc3339(taken["since"]) > told.end_ms


def test_an_assessment_is_remembered_until_something_changes(house: House) -> None:
    """The same report object, and a new one once the journal has grown."""
    desk = MistingDesk(house.database, house.readings, house.parts.library)
    at_ms = NOW - 200 * DAY_MS

    first, again = desk.report("cork-cube", at_ms), desk.report("cork-cube", at_ms)
    with house.database.transaction() as connection:
        entry = ENTRY.validate_python({"kind": "not_misted", "at": at_ms - DAY_MS})
        journal.add(connection, "cork-cube", entry, Source.KEEPER, NOW_MS)

    assert first is again
    assert desk.report("cork-cube", at_ms) is not first


def test_the_command(house: House, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Words by default, the API's answer with --json, a calendar on request, 2 for a mistake."""
    path = house.database.path
    (tmp_path / "dewkeep.toml").write_text(f'[store]\npath = "{path}"\n')
    monkeypatch.chdir(tmp_path)
    runner, at = CliRunner(), ["--at", rfc3339(NOW)]

    text = runner.invoke(main, ["misting", "cork-cube", *at, "--ics", "plan.ics"])
    document = runner.invoke(main, ["misting", "cork-cube", *at, "--json"])
    unknown = runner.invoke(main, ["misting", "nowhere", *at])
    early = runner.invoke(
        main, ["misting", "cork-cube", "--at", "2026-01-01T00:00:00Z", "--ics", "none.ics"]
    )

    answer = json.loads(document.output)
    assert text.exit_code == 0
    assert "apparent drying rate by day: 1." in text.output
    assert "plan 1: " in text.output
    events = events_of((tmp_path / "plan.ics").read_text())
    assert len(events) == len(answer["plans"][0]["times"])
    assert unknown.exit_code == early.exit_code == 2
    assert "'nowhere'" in unknown.output
    assert "cannot say, because there are no readings" in early.output
    assert not (tmp_path / "none.ics").exists()


def test_an_enclosure_without_a_probe_in_its_air(house: House) -> None:
    """Nothing can be said, and why."""
    bare = {"id": "bare", "name": "Bare", "probe": [{"id": "soil", "zone": "substrate"}]}
    assert house.http.put("/api/v1/enclosures/bare", json=bare).status_code in {200, 201}

    told = house.http.get("/api/v1/enclosures/bare/misting").json()

    assert told["probe"] is None
    assert told["cannot"] == "no probe hangs in the air of this enclosure; set one up"
    with pytest.raises(NotFound, match="known: soil"):
        house.parts.misting.report("bare", NOW, "canopy")
