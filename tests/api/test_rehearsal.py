"""Rehearsals over HTTP: what was raised, what would have been, and what a change would do."""

from typing import Any

import httpx
import pytest

from monitor.quantities import Quantity
from monitor.store.readings import SeriesKey
from monitor.times import MINUTE_MS
from tests.support.house import NOW_MS, House

CUBE = "/api/v1/enclosures/cork-cube"
REHEARSAL = f"{CUBE}/rehearsal"


def strict(http: httpx.Client, low: float) -> dict[str, Any]:
    """The enclosure with a higher lower limit in the canopy."""
    enclosure: dict[str, Any] = http.get(CUBE).json()
    spans = {when: {"humidity": [low, 95]} for when in ("day", "night")}
    return enclosure | {"range": {"canopy": spans}}


def test_what_was_raised_would_be_raised_again(house: House) -> None:
    """The set-up as it is gives the same alarm, with the same id, as the live watch did."""
    alarm_id = house.crash()

    told = house.http.get(REHEARSAL).json()

    assert [alarm["id"] for alarm in told["raised"]["list"]] == [alarm_id]
    assert alarm_id in [alarm["id"] for alarm in told["unchanged"]["list"]]
    assert told["difference"]["between"] == ["raised", "unchanged"]
    assert told["difference"]["kept"] == 1
    assert "changed" not in told
    assert told["from"] == "2026-10-26T09:46:40Z"
    assert told["to"] == "2026-11-25T09:46:40Z"
    assert "No readings of floor." in told["notes"]


def test_a_change_is_tried_and_not_made(house: House) -> None:
    """A limit of 40 % would have let the keeper sleep; the set-up stays as it was."""
    alarm_id = house.crash()
    before = house.http.get(CUBE)

    told = house.http.post(REHEARSAL, json=strict(house.http, 40)).json()

    assert told["difference"]["between"] == ["unchanged", "changed"]
    assert told["difference"]["gone"] == [alarm_id]
    assert told["changed"]["calls"] == told["unchanged"]["calls"] - 1
    after = house.http.get(CUBE)
    assert (after.json(), after.headers["etag"]) == (before.json(), before.headers["etag"])


def test_an_old_log_can_be_rehearsed(house: House) -> None:
    """Imported readings raised nothing; the notes say so, the rehearsal counts."""
    at_ms = [NOW_MS - MINUTE_MS * ago for ago in range(600, 0, -1)]
    house.backfill(SeriesKey("cork-cube", "canopy", Quantity.HUMIDITY), at_ms, [55.0] * 600)

    told = house.http.get(REHEARSAL, params={"from": "2026-11-24T00:00:00Z"}).json()

    assert told["raised"]["calls"] == 0
    assert told["unchanged"]["calls"] == 1
    assert told["readings"] == 600
    assert any("Imported readings raise none" in note for note in told["notes"])


@pytest.mark.parametrize(
    "span",
    [
        {},
        {"from": "1971-01-01T00:00:00Z", "to": "1971-02-01T00:00:00Z"},
        {"from": "0001-01-01T00:00:00Z", "to": "0001-02-01T00:00:00Z"},
        {"from": "9999-11-01T00:00:00Z", "to": "9999-12-01T00:00:00Z"},
    ],
)
def test_nothing_recorded_is_told_in_a_sentence(http: httpx.Client, span: dict[str, str]) -> None:
    """No readings in the span, long before or long after: an answer, not an error."""
    told = http.get(REHEARSAL, params=span).json()

    assert told["says"].startswith("Nothing was recorded in this span")
    assert told["unchanged"]["alarms"] == 0


@pytest.mark.parametrize(
    ("params", "says"),
    [
        ({"from": "2026-11-25T00:00:00Z", "to": "2026-11-24T00:00:00Z"}, "must lie before `to`"),
        ({"from": "2024-01-01T00:00:00Z"}, "more than 400 days"),
        ({"from": "yesterday"}, "from"),
    ],
)
def test_a_wrong_span_is_told(http: httpx.Client, params: dict[str, str], says: str) -> None:
    """The field and what would be right."""
    answer = http.get(REHEARSAL, params=params)

    assert answer.status_code == 422
    assert says in answer.json()["detail"]


def test_a_wrong_change_is_told(http: httpx.Client) -> None:
    """Another's id, an unknown species, a reversed range; a room and a stranger are not found."""
    good = http.get(CUBE).json()
    for wrong, field in (
        (good | {"id": "other"}, "id"),
        (good | {"inhabitant": [{"species": "some-newt"}]}, "species"),
        (good | {"range": {"canopy": {"day": {"humidity": [90, 60]}}}}, "humidity"),
    ):
        answer = http.post(REHEARSAL, json=wrong)
        assert answer.status_code == 422
        assert field in answer.json()["detail"]

    room = http.get("/api/v1/enclosures/back-room/rehearsal")
    assert room.status_code == 404
    assert "is a room" in room.json()["detail"]
    assert http.get("/api/v1/enclosures/nowhere/rehearsal").status_code == 404
