"""The whole house from one daemon: its own over HTTP, and what its peers tell."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.house.told import Told
from monitor.house.whole import House as Whole
from monitor.store.sqlite.state import tokens
from monitor.store.sqlite.state.tokens import Scope
from tests.support.house import NOW_MS, House
from tests.support.house import house as open_house


@pytest.fixture
def second(tmp_path: Path) -> Iterator[House]:
    """keeper-2, which asks for tokens and watches the enclosure; the room is somebody else's."""
    folder = tmp_path / "second"
    folder.mkdir()
    share = {"enclosures": ["cork-cube"]}
    with open_house(
        folder, needs_token=True, broker={"client_id": "keeper-2"}, share=share
    ) as built:
        yield built


@pytest.fixture
def first(tmp_path: Path, second: House) -> Iterator[House]:
    """keeper-1, which watches the room and knows keeper-2, with a token to look."""
    with second.database.transaction() as connection:
        token = tokens.create(connection, "keeper-1", Scope.VIEW, NOW_MS)
    (tmp_path / "keeper-2.token").write_text(token)
    url = str(second.http.base_url)
    folder = tmp_path / "first"
    folder.mkdir()
    with open_house(
        folder,
        broker={"client_id": "keeper-1"},
        share={"enclosures": ["back-room"]},
        peer=[{"name": "keeper-2", "url": url, "token_file": tmp_path / "keeper-2.token"}],
    ) as built:
        yield built


def dry(house: House) -> None:
    """Dry the canopy for long enough to raise an alarm."""
    for minute in range(25):
        house.take("canopy", NOW_MS - (30 - minute) * 60_000, 23.0, 50.0)


def whole(house: House) -> dict[str, Any]:
    """The house as it tells it; the answer must be as it is described."""
    answer = house.http.get("/api/v1/house")
    assert answer.status_code == 200, answer.text
    Whole.model_validate_json(answer.content)
    seen: dict[str, Any] = answer.json()
    return seen


def test_a_daemon_tells_its_own_and_nothing_else(house: House) -> None:
    """Its name, its places, what stands, its newest values with their time and quality."""
    house.crash()
    answer = house.http.get("/api/v1/house/own")
    told = Told.model_validate_json(answer.content)
    places = {place.id: place for place in told.places}

    assert told.daemon == "dewkeep"
    assert places.keys() == {"cork-cube", "back-room"}
    (alarm,) = places["cork-cube"].alarms
    (documented,) = house.http.get("/api/v1/alarms").json()
    shown = answer.json()["places"][0]["alarms"][0]
    assert {key: shown[key] for key in shown.keys() & documented.keys() - {"cause"}} == {
        key: documented[key] for key in shown.keys() & documented.keys() - {"cause"}
    }
    assert alarm.cause is None
    canopy, floor = places["cork-cube"].probes
    assert {each.quantity: each.value for each in canopy.values} == {
        "temperature": 23.0,
        "humidity": 50.0,
    }
    assert floor.values == ()
    assert [trouble.part for trouble in told.troubles] == ["broker"]


def test_the_house_is_whole_from_one_of_its_daemons(first: House, second: House) -> None:
    """With the alarm of a peer's enclosure as the peer tells it, and the way to its page."""
    dry(second)
    first.parts.peers.ask()
    seen = whole(first)
    cork, room = seen["places"]

    assert (cork["id"], cork["owners"], cork["watch"]) == ("cork-cube", ["keeper-2"], "watched")
    assert cork["page"] == f"{str(second.http.base_url).rstrip('/')}/enclosures/cork-cube"
    assert cork["alarms"][0]["says"].startswith("Humidity in the canopy has been below 60 %")
    assert (room["id"], room["owners"]) == ("back-room", ["keeper-1"])
    assert seen["says"] == "1 enclosure: Cork cube needs a hand."


def test_a_withdrawn_token_leaves_an_orphan_with_its_alarm(first: House, second: House) -> None:
    """What was last known stays, and the reason is told with what to do."""
    dry(second)
    first.parts.peers.ask()
    with second.database.transaction() as connection:
        tokens.revoke(connection, 1, NOW_MS)
    first.now_ms += 60_000
    first.parts.peers.ask()
    seen = whole(first)
    cork = seen["places"][0]

    assert (cork["id"], cork["watch"]) == ("cork-cube", "unwatched")
    assert cork["says"] == "Nobody answers for it since 09:46: keeper-2 does not answer."
    assert len(cork["alarms"]) == 1
    assert "dewkeep token new --scope view" in seen["daemons"][1]["says"]
    assert seen["says"] == "1 enclosure: nobody answers for Cork cube."


def test_looking_asks_nobody(first: House) -> None:
    """However often: what the peers said last is what there is."""
    for _ in range(3):
        assert whole(first)["places"][0]["watch"] == "unwatched"
    assert first.parts.peers.seen()[0].told is None


def test_whoever_watches_the_watchers_can_count_on_it(first: House) -> None:
    """A peer that does not answer shows in the metrics of the others."""
    for answers in (0, 1):
        assert (
            f'dewkeep_peer_answers{{peer="keeper-2"}} {answers}.0'
            in first.http.get("/metrics").text
        )
        first.parts.peers.ask()


def test_a_peer_needs_a_token_to_ask(second: House) -> None:
    """What a daemon watches is told to those who may look, and to nobody else."""
    for path in ("/api/v1/house", "/api/v1/house/own"):
        answer = second.http.get(path)
        assert answer.status_code == 401
        assert "cork" not in answer.text


def test_it_is_for_looking_only(house: House) -> None:
    """No way leads through one daemon to what another owns."""
    for path in ("/api/v1/house", "/api/v1/house/own"):
        assert house.http.post(path, json={}).status_code == 405
