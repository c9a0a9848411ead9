"""Last night over HTTP: of one enclosure, and the morning's report on all."""

import httpx
import pytest

from monitor.quantities import Quantity
from monitor.store.readings import SeriesKey
from monitor.times import MINUTE_MS, parse_rfc3339
from tests.support.house import NOW_MS, House

NIGHT = "/api/v1/enclosures/cork-cube/night"
OFF_MS = parse_rfc3339("2026-11-24T20:00:00Z")


@pytest.fixture
def night(house: House) -> House:
    """Both probes through the night up to now; the canopy dry from 02:00 to 04:00; misted twice."""
    at_ms = list(range(OFF_MS - 60 * MINUTE_MS, NOW_MS, MINUTE_MS))
    dry = [50.0 if 360 <= (at - OFF_MS) / MINUTE_MS < 480 else 80.0 for at in at_ms]
    for probe, humidity in (("canopy", dry), ("floor", [85.0] * len(at_ms))):
        house.backfill(SeriesKey("cork-cube", probe, Quantity.HUMIDITY), at_ms, humidity)
        house.backfill(
            SeriesKey("cork-cube", probe, Quantity.TEMPERATURE), at_ms, [21.0] * len(at_ms)
        )
    for at in ("2026-11-24T21:00:00Z", "2026-11-25T05:00:00Z", "2026-11-25T09:00:00Z"):
        house.http.post(
            "/api/v1/enclosures/cork-cube/journal",
            json={"kind": "misted", "at": at, "seconds": 6},
        )
    return house


def test_the_last_night(night: House) -> None:
    """Extremes with time and probe, minutes below the range, the mistings within it."""
    told = night.http.get(NIGHT).json()

    assert (told["date"], told["from"], told["to"], told["over"]) == (
        "2026-11-25",
        "2026-11-24T20:00:00Z",
        "2026-11-25T08:00:00Z",
        True,
    )
    humidity = told["quantities"]["humidity"]
    assert humidity["lowest"] == {
        "value": 50.0,
        "at": "2026-11-25T02:00:00Z",
        "probe": "canopy",
        "zone": "canopy",
    }
    assert humidity["below_range"]["minutes"] == 120.0
    assert told["mistings"]["count"] == 2
    assert told["silent"] == []
    assert told["needs"] == "look"
    assert told["says"].startswith(
        "Humidity below its range for 2 h, lowest 50 % (02:00 at canopy)"
    )


def test_an_alarm_that_stands_needs_a_hand(night: House) -> None:
    """Raised after the night or in it: what stands now is told first."""
    alarm_id = night.crash()

    told = night.http.get(NIGHT).json()

    assert told["needs"] == "hand"
    assert [alarm["id"] for alarm in told["alarms"] if alarm["standing"]] == [alarm_id]
    assert told["says"].startswith("Humidity in the canopy")


def test_an_alarm_kept_quiet_is_worth_a_look(night: House) -> None:
    """A keeper who shelved it knows of it."""
    alarm_id = night.crash()
    night.http.post(f"/api/v1/alarms/{alarm_id}/shelve", json={"minutes": 60})

    assert night.http.get(NIGHT).json()["needs"] == "look"


def test_an_earlier_night_is_as_of_its_end(night: House) -> None:
    """An alarm of today has no part in it; nothing was recorded then."""
    night.crash()

    told = night.http.get(NIGHT, params={"date": "2026-11-20"}).json()

    assert told["date"] == "2026-11-20"
    assert told["alarms"] == []
    assert told["quantities"] == {}
    assert told["says"] == "Probes canopy and floor have sent nothing all night."


@pytest.mark.parametrize(
    ("date", "status", "says"),
    [
        ("2026-11-26", 404, "has not begun"),
        ("0001-01-01", 404, "no night of 'cork-cube' ends on 0001-01-01"),
        ("9999-12-31", 404, "no night of 'cork-cube' ends on 9999-12-31"),
        ("last", 422, "date"),
    ],
)
def test_a_night_there_is_not(http: httpx.Client, date: str, status: int, says: str) -> None:
    """Not begun, out of all time, or no date."""
    answer = http.get(NIGHT, params={"date": date})

    assert answer.status_code == status
    assert says in answer.json()["detail"]


def test_places_that_have_no_night(http: httpx.Client) -> None:
    """A room has no lamp timer, and nowhere is nowhere."""
    assert "is a room" in http.get("/api/v1/enclosures/back-room/night").json()["detail"]
    assert http.get("/api/v1/enclosures/nowhere/night").status_code == 404


def test_the_morning_report(night: House) -> None:
    """All enclosures, those that need a hand first, and a text for the phone."""
    jar = night.http.get("/api/v1/enclosures/cork-cube").json()
    jar |= {"id": "jar", "name": "Jar", "probe": [], "inhabitant": []}
    night.http.put("/api/v1/enclosures/jar", json=jar)
    night.crash()

    told = night.http.get("/api/v1/report/morning").json()

    assert [each["enclosure"] for each in told["enclosures"]] == ["cork-cube", "jar"]
    assert told["date"] == "2026-11-25"
    assert told["says"] == "1 of 2 needs a hand."
    assert told["text"].splitlines()[2] == "NEEDS A HAND"
    assert "Jar: It has no probes" in told["text"]


def test_an_empty_house(house: House) -> None:
    """Without enclosures the report says so."""
    house.http.delete("/api/v1/enclosures/cork-cube")

    told = house.http.get("/api/v1/report/morning").json()

    assert told["says"] == "No enclosure is set up."
    assert told["enclosures"] == []
