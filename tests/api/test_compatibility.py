"""Who fits whom, over HTTP."""

import httpx
import pytest

from tests.support.house import House

CUBE = "/api/v1/enclosures/cork-cube"
HERE, THERE = f"{CUBE}/compatibility", "/api/v1/compatibility"
NIGHT_AND_DAY = {
    "day": {"temperature": [27, 29], "humidity": [79, 81]},
    "night": {"temperature": [19, 21], "humidity": [79, 81]},
}


def test_an_enclosure_is_looked_at(http: httpx.Client) -> None:
    """Ranges in force, conflicts, risks, water and candidates, for today in its own place."""
    told = http.get(HERE).json()

    assert told["enclosure"] == "cork-cube"
    assert told["on"] == "2026-11-25"
    assert told["verdict"] == "fits"
    assert told["inhabitants"] == [
        {"species": "correlophus-ciliatus", "name": "Crested gecko", "kind": "animal"}
    ]
    assert told["ranges"]["canopy"]["day"]["humidity"] == [60, 95]
    assert told["candidates"][0]["fit"] == 1.0
    assert {"species": "correlophus-ciliatus", "says": "A lost tail does not grow again."} in told[
        "cautions"
    ]
    assert {"zone", "when", "temperature", "vapour_pressure"} == set(told["water"]["regions"][0])


def test_the_season_asked_for_counts(house: House) -> None:
    """In summer the succulent's winter rest lies ahead, in winter it is here."""
    body = house.http.get(CUBE).json()
    body["inhabitant"] = [{"species": "eublepharis-macularius"}, {"species": "haworthia"}]
    assert house.http.put(CUBE, json=body).status_code == 200

    june = house.http.get(HERE, params={"at": "2027-06-15T12:00:00Z"}).json()
    january = house.http.get(HERE, params={"at": "2027-01-15T12:00:00Z"}).json()

    assert june["conflicts"] == []
    assert {tuple(each["months"]) for each in june["in_other_months"]} == {(1, 2, 11, 12)}
    assert {each["yields"][0] for each in january["conflicts"]} == {"haworthia"}
    assert (june["verdict"], january["verdict"]) == ("unfit", "unfit")


def test_a_company_that_lives_nowhere_is_looked_at_and_forgotten(http: httpx.Client) -> None:
    """A proposal changes nothing of the set-up."""
    before = http.get("/api/v1/enclosures").json()
    proposal = {
        "inhabitant": [{"species": "dendrobates-tinctorius"}, {"species": "haworthia"}],
        "on": "2027-06-15",
    }

    told = http.post(THERE, json=proposal).json()

    assert told["verdict"] == "unfit"
    assert told["says"] == "Haworthia does not belong with the rest."
    assert {each["instead_of"] for each in told["alternatives"]} == {"haworthia"}
    (conflict, *_) = told["conflicts"]
    assert conflict["species"] == ["haworthia", "dendrobates-tinctorius"]
    assert conflict["unit"] == "%RH"
    assert conflict["apart"] == 15
    assert http.get("/api/v1/enclosures").json() == before


def test_what_ranges_ask_of_the_water_is_told_in_grams(http: httpx.Client) -> None:
    """Day 28 °C at 80 % and night 20 °C at 80 %, in 100 l: 0.85 g have to leave."""
    told = http.post(THERE, json={"range": {"floor": NIGHT_AND_DAY}, "volume_l": 100}).json()

    (evening,) = told["water"]["evenings"]
    assert evening["leaves_g_m3"] == pytest.approx(8.54, abs=0.01)
    assert evening["leaves_g"] == pytest.approx(0.854, abs=0.001)
    assert evening["dew_g_m3"] == pytest.approx(5.08, abs=0.01)
    assert "5.1 g/m³" in evening["says"]
    assert told["verdict"] == "empty"


@pytest.mark.parametrize(
    ("proposal", "field"),
    [
        ({"inhabitant": [{"species": "haworthya"}]}, "body.inhabitant.0.species"),
        ({"inhabitant": [{"species": "haworthia"}] * 51}, "body.inhabitant"),
        ({"range": {"attic": {}}}, "body.range.attic"),
        ({"volume_l": 0}, "body.volume_l"),
        ({"on": "someday"}, "body.on"),
        ({"colour": "green"}, "body.colour"),
    ],
)
def test_a_wrong_proposal_is_refused_with_the_field(
    http: httpx.Client, proposal: dict[str, object], field: str
) -> None:
    """As a problem that says where it is wrong."""
    answer = http.post(THERE, json=proposal)

    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"].startswith(field)


def test_only_an_enclosure_has_a_company(http: httpx.Client) -> None:
    """A room and a stranger are not found."""
    for place in ("back-room", "nowhere"):
        assert http.get(f"/api/v1/enclosures/{place}/compatibility").status_code == 404
