"""The history of the set-up over HTTP, and that a change holds at once."""

import httpx

from tests.support.house import NOW_MS, House

CUBE = "/api/v1/enclosures/cork-cube"
HISTORY = "/api/v1/setup/history"


def change(http: httpx.Client, **keys: object) -> None:
    """Change keys of the cube."""
    answer = http.put(CUBE, json=http.get(CUBE).json() | keys)
    assert answer.status_code == 200, answer.text


def test_every_change_is_kept_with_who_when_and_what(http: httpx.Client) -> None:
    """Newest first; what was removed too."""
    change(http, name="Cube", volume_l=90)
    change(http, name="Cube")  # nothing is different, so nothing is kept
    assert http.delete(CUBE).status_code == 204

    removed, changed, added, room = http.get(HISTORY).json()

    assert (removed["did"], removed["says"]) == ("removed", "removed cork-cube")
    assert changed["says"] == "name: Cork cube became Cube; volume_l: added 90"
    assert (changed["at"], changed["place"]) == ("2026-11-25T09:46:40Z", "cork-cube")
    assert changed["who"]
    assert (added["did"], added["who"], room["place"]) == ("added", "test", "back-room")


def test_one_change_is_told_key_by_key(http: httpx.Client) -> None:
    """With the place as it was and as it became."""
    change(http, range={"canopy": {"day": {"humidity": [55, 90]}, "night": {"humidity": [60, 95]}}})
    number = http.get(HISTORY).json()[0]["number"]

    told = http.get(f"{HISTORY}/{number}").json()

    assert told["differences"] == [
        {
            "key": "range.canopy.day.humidity",
            "before": [60, 95],
            "after": [55, 90],
            "says": "range.canopy.day.humidity: 60 to 95 became 55 to 90",
        }
    ]
    assert told["before"]["range"]["canopy"]["day"]["humidity"] == [60, 95]
    assert told["after"] == http.get(CUBE).json()


def test_a_long_history_comes_in_pages(http: httpx.Client) -> None:
    """Each page points to the next; a place can be asked for alone."""
    for number in range(5):
        change(http, name=f"Cube {number}")

    first = http.get(HISTORY, params={"limit": 2, "place": "cork-cube"})
    second = http.get(first.links["next"]["url"])
    third = http.get(second.links["next"]["url"])

    says = [each["says"] for page in (first, second, third) for each in page.json()]
    assert says[0] == "name: Cube 3 became Cube 4"
    assert says[-1] == "added cork-cube"
    assert len(says) == 6
    assert "back-room" not in " ".join(says)


def test_a_change_that_was_not_made_is_not_found(http: httpx.Client) -> None:
    """Also one with an absurd number."""
    for number in (999, 10**30):
        assert http.get(f"{HISTORY}/{number}").status_code == 404
    assert http.get(f"{HISTORY}/0").status_code == 404
    assert http.get(f"{HISTORY}/x").status_code == 422


def test_new_ranges_hold_without_a_restart(house: House) -> None:
    """Air that was well becomes an alarm by the range alone, and well again by the next."""
    wet = [(NOW_MS - (90 - minute) * 60_000, 23.0, 75.0 + minute % 3) for minute in range(90)]
    for reading in wet[:30]:
        house.take("canopy", *reading)
    assert house.http.get("/api/v1/alarms").json() == []

    dry = {when: {"humidity": [30, 50]} for when in ("day", "night")}
    change(house.http, range={"canopy": dry})
    for reading in wet[30:60]:
        house.take("canopy", *reading)
    (alarm,) = house.http.get("/api/v1/alarms").json()
    assert (alarm["condition"], alarm["limit"]) == ("high", 50)

    damp = {when: {"humidity": [60, 95]} for when in ("day", "night")}
    change(house.http, range={"canopy": damp})
    for reading in wet[60:]:
        house.take("canopy", *reading)
    (after,) = house.http.get("/api/v1/alarms").json()
    assert after["id"] == alarm["id"]
    assert after["state"] != alarm["state"]
