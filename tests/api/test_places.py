"""The set-up over HTTP: read, changed without losing anyone's change, refused with the field."""

import httpx

from tests.support.house import FURNITURE, House

CUBE = "/api/v1/enclosures/cork-cube"


def test_what_is_set_up_is_listed(http: httpx.Client) -> None:
    """Enclosures and rooms come in the shape of the set-up file."""
    (enclosure,) = http.get("/api/v1/enclosures").json()
    (room,) = http.get("/api/v1/rooms").json()

    assert enclosure["range"]["canopy"]["day"]["humidity"] == [60, 95]
    assert [probe["id"] for probe in enclosure["probe"]] == ["canopy", "floor"]
    assert room["id"] == "back-room"


def test_a_change_needs_the_version_it_was_made_from(http: httpx.Client) -> None:
    """The second of two keepers who start from the same version is refused, and told why."""
    first = http.get(CUBE)
    etag = {"If-Match": first.headers["etag"]}

    changed = http.put(CUBE, json=first.json() | {"name": "Cube"}, headers=etag)
    refused = http.put(CUBE, json=first.json() | {"name": "Other"}, headers=etag)

    assert changed.status_code == 200
    assert changed.headers["etag"] != first.headers["etag"]
    assert refused.status_code == 409
    assert refused.headers["content-type"] == "application/problem+json"
    assert "was changed" in refused.json()["detail"]
    assert http.get(CUBE).json()["name"] == "Cube"


def test_a_wrong_body_is_refused_with_the_field(http: httpx.Client) -> None:
    """Reversed range, unknown zone, unknown key and unknown species each name where they stand."""
    good = http.get(CUBE).json()
    for wrong, field in (
        (good | {"range": {"canopy": {"day": {"humidity": [90, 60]}}}}, "humidity"),
        (good | {"probe": [{"id": "a", "zone": "attic"}]}, "zone"),
        (good | {"colour": "green"}, "colour"),
        (good | {"probe": [{"id": "a/b", "zone": "floor"}]}, "id"),
        (good | {"inhabitant": [{"species": "correlophus-ciliatos"}]}, "species"),
    ):
        answer = http.put(CUBE, json=wrong)

        assert answer.status_code == 422, answer.text
        problem = answer.json()
        assert problem["status"] == 422
        assert any(field in error["field"] for error in problem["errors"]), problem


def test_address_and_body_must_agree(http: httpx.Client) -> None:
    """An enclosure cannot be put under another's name."""
    answer = http.put("/api/v1/enclosures/other", json=http.get(CUBE).json())

    assert answer.status_code == 422
    assert "'other'" in answer.json()["detail"]


def test_what_is_taken_out_is_gone_and_a_full_room_stays(http: httpx.Client) -> None:
    """A room is deleted after the enclosures that stand in it."""
    full = http.delete("/api/v1/rooms/back-room")
    gone = http.delete(CUBE)
    empty = http.delete("/api/v1/rooms/back-room")

    assert (full.status_code, gone.status_code, empty.status_code) == (409, 204, 204)
    assert "cork-cube" in full.json()["detail"]
    assert http.get(CUBE).status_code == 404
    assert http.delete(CUBE).json()["detail"] == "no room or enclosure 'cork-cube' is set up"


def test_a_new_room_and_enclosure(house: House) -> None:
    """An enclosure in a room that is not there is refused; after the room it is accepted."""
    tray = FURNITURE["enclosure"][0] | {"id": "tray", "room": "attic"}

    before = house.http.put("/api/v1/enclosures/tray", json=tray)
    room = house.http.put("/api/v1/rooms/attic", json={"id": "attic", "name": "Attic"})
    after = house.http.put("/api/v1/enclosures/tray", json=tray)

    assert (before.status_code, room.status_code, after.status_code) == (409, 200, 200)
    assert house.http.get("/api/v1/rooms/tray").status_code == 404
    assert house.http.put("/api/v1/rooms/x", json={"id": "x"}, headers={"If-Match": "old"}).json()[
        "detail"
    ]
