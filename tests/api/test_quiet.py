"""Quiet by design over HTTP, with readings that would call."""

import httpx
import pytest

from tests.support.house import NOW_MS, House

CUBE = "/api/v1/enclosures/cork-cube"


def test_maintenance_keeps_a_standing_alarm_quiet(house: House) -> None:
    """It is suppressed with the reason and by whom, listed, and calls when the work is over."""
    alarm = house.crash()

    begun = house.http.put(
        f"{CUBE}/suppressions/maintenance", json={"minutes": 60, "why": "new substrate"}
    ).json()
    held = house.http.get(f"/api/v1/alarms/{alarm}").json()

    assert [(each["because"], each["why"], each["in_force"]) for each in begun] == [
        ("maintenance", "new substrate", True)
    ]
    assert begun[0]["until"] == "2026-11-25T10:46:40Z"
    assert (held["state"], held["suppressed_because"]) == ("suppressed", "maintenance")
    assert held["suppressed_by"] == "keeper"
    assert house.http.get("/api/v1/suppressions").json() == begun

    house.now_ms = NOW_MS + 61 * 60_000
    house.tick()
    assert house.http.get(f"/api/v1/alarms/{alarm}").json()["state"] == "unacknowledged"
    assert house.http.get(f"{CUBE}/suppressions").json() == []


def test_a_keeper_who_is_done_early_says_so(house: House) -> None:
    """Half an hour is left to settle; what is not in force cannot be ended."""
    house.http.put(f"{CUBE}/suppressions/lid_open", json={"minutes": 300})
    (after,) = house.http.delete(f"{CUBE}/suppressions/lid_open").json()
    never = house.http.delete(f"{CUBE}/suppressions/maintenance")

    assert after["until"] == "2026-11-25T10:16:40Z"
    assert never.status_code == 409
    assert "no maintenance is in force" in never.json()["detail"]


def test_a_probe_is_taken_out_of_service_and_placed_back(house: House) -> None:
    """Its alarms count for nothing meanwhile, and call anew afterwards."""
    alarm = house.crash()
    probe = f"{CUBE}/probes/canopy"

    (gone,) = house.http.post(f"{probe}/out-of-service", json={"why": "in the salt box"}).json()
    held = house.http.get(f"/api/v1/alarms/{alarm}").json()
    twice = house.http.post(f"{probe}/out-of-service")
    back = house.http.post(f"{probe}/in-service")
    again = house.http.get(f"/api/v1/alarms/{alarm}").json()

    assert (gone["probe"], gone["because"], gone["until"]) == ("canopy", "out_of_service", None)
    assert held["state"] == "out-of-service"
    assert twice.status_code == 409
    assert back.json() == []
    assert again["state"] == "unacknowledged"


@pytest.mark.parametrize(
    ("because", "body", "status"),
    [
        ("misting", {"minutes": 5}, 422),
        ("maintenance", {"minutes": 0}, 422),
        ("maintenance", {"minutes": "long"}, 422),
        ("maintenance", {"minutes": 5, "why": "x" * 201}, 422),
        ("maintenance", {"minutes": 60 * 25}, 409),
    ],
)
def test_what_nobody_may_ask_for(
    house: House, because: str, body: dict[str, object], status: int
) -> None:
    """A reason that is not a keeper's to give, no time, and more than a day."""
    assert house.http.put(f"{CUBE}/suppressions/{because}", json=body).status_code == status


def test_quiet_where_nothing_is(http: httpx.Client) -> None:
    """A place or probe that is not set up is told."""
    nowhere = "/api/v1/enclosures/nowhere"
    for answer in (
        http.get(f"{nowhere}/suppressions"),
        http.put(f"{nowhere}/suppressions/maintenance", json={"minutes": 5}),
        http.post(f"{CUBE}/probes/attic/out-of-service"),
    ):
        assert answer.status_code == 404
    assert http.post(f"{CUBE}/probes/floor/in-service").status_code == 409


def test_alarms_are_measured(house: House) -> None:
    """Rates, what stands, and the worst point, over a span."""
    alarm = house.crash()
    house.http.post(f"/api/v1/alarms/{alarm}/acknowledge")

    figures = house.http.get(
        "/api/v1/alarms/performance", params={"from": "2026-11-24T21:46:40Z"}
    ).json()

    assert figures["alarms"] == figures["standing"] == 1
    assert figures["per_day"] == 2.0
    assert figures["top"] == [{"name": "cork-cube.canopy.humidity.low", "alarms": 1, "share": 1.0}]
    assert figures["unacknowledged"] == 0
    assert house.http.get("/api/v1/alarms/performance?enclosure=nowhere").status_code == 404
