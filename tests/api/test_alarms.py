"""Alarms over HTTP: seen, set aside, taken back, and paged."""

import httpx

from tests.support.house import NOW_MS, House


def test_an_alarm_is_acknowledged_once(house: House) -> None:
    """A keeper says it was seen; saying so again is a conflict told in words."""
    alarm = house.crash()

    seen = house.http.post(f"/api/v1/alarms/{alarm}/acknowledge")
    again = house.http.post(f"/api/v1/alarms/{alarm}/acknowledge")

    assert seen.json()["state"] == "acknowledged"
    assert seen.json()["acknowledged_by"] == "keeper"
    assert again.status_code == 409
    assert house.http.get(f"/api/v1/alarms/{alarm}").json() == seen.json()


def test_an_alarm_is_shelved_and_taken_back(house: House) -> None:
    """Set aside with an end; taken back before it."""
    alarm = house.crash()

    shelved = house.http.post(f"/api/v1/alarms/{alarm}/shelve", json={"minutes": 90})
    back = house.http.post(f"/api/v1/alarms/{alarm}/unshelve")

    assert shelved.json()["state"] == "shelved"
    assert shelved.json()["shelved_until"] == "2026-11-25T11:16:40Z"
    assert back.json()["state"] == "unacknowledged"


def test_a_shelf_has_an_end(house: House) -> None:
    """No alarm is set aside for ever, or for no time at all."""
    alarm = house.crash()
    for minutes in (0, -5, 60 * 24 * 365, "long"):
        answer = house.http.post(f"/api/v1/alarms/{alarm}/shelve", json={"minutes": minutes})

        assert answer.status_code == 422
        assert answer.json()["errors"][0]["field"] == "body.minutes"


def test_what_is_over_cannot_be_acknowledged(house: House) -> None:
    """A conflict, not a missing page: the alarm exists."""
    alarm = house.crash()
    house.http.post(f"/api/v1/alarms/{alarm}/acknowledge")
    for minute in range(10):
        house.take("canopy", NOW_MS + minute * 60_000, 23.0, 75.0)

    late = house.http.post(f"/api/v1/alarms/{alarm}/acknowledge")

    assert house.http.get(f"/api/v1/alarms/{alarm}").json()["state"] == "normal"
    assert late.status_code == 409
    assert "is over" in late.json()["detail"]


def test_unknown_alarms(http: httpx.Client) -> None:
    """Each call says that there is no such alarm."""
    for answer in (
        http.get("/api/v1/alarms/none"),
        http.post("/api/v1/alarms/none/acknowledge"),
        http.post("/api/v1/alarms/none/shelve", json={"minutes": 5}),
    ):
        assert answer.status_code == 404
        assert "'none'" in answer.json()["detail"]


def test_alarms_are_filtered(house: House) -> None:
    """By state and by enclosure; an unknown state is refused."""
    alarm = house.crash()

    def ids(query: str) -> list[str]:
        return [found["id"] for found in house.http.get(f"/api/v1/alarms?{query}").json()]

    assert ids("state=unacknowledged&enclosure=cork-cube") == [alarm]
    assert ids("state=acknowledged") == []
    assert ids("enclosure=other") == []
    assert house.http.get("/api/v1/alarms?state=furious").status_code == 422
