"""From a topic to a probe."""

import pytest

from monitor.errors import NotFound
from monitor.ingest.roster import ELSEWHERE as NOT_OURS
from monitor.ingest.roster import Roster, Stranger
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Room, RoomProbe, Setup, Zone
from monitor.setup.settings import Settings
from monitor.store.readings import SeriesKey

SETUP = Setup(
    room=(Room(id="back-room", name="Back room", probe=(RoomProbe(id="air", device="0x05"),)),),
    enclosure=(
        Enclosure(
            id="cork-cube",
            name="Cork",
            probe=(Probe(id="canopy", zone=Zone.CANOPY, device="0x04"),),
        ),
    ),
)
SOURCES = Settings.model_validate(
    {
        "source": [
            {"topic": "dewkeep/{enclosure}/{probe}"},
            {
                "topic": "rack/{device}/state",
                "payload": "json",
                "temperature": "/t",
                "devices": {"0x01": "cork-cube/canopy", "0x02": "cork-cube/gone"},
            },
            {"topic": "shelf/{device}/{quantity}", "payload": "number"},
        ]
    }
).source
ELSEWHERE = Setup(
    enclosure=(
        Enclosure(
            id="fern-jar",
            name="Fern",
            probe=(Probe(id="floor", zone=Zone.FLOOR, device="0x08"),),
        ),
    )
)
KNOWN = {
    SeriesKey("cork-cube", "canopy", Quantity.TEMPERATURE): 7,
    SeriesKey("long-gone", "canopy", Quantity.TEMPERATURE): 3,
}


@pytest.fixture
def roster() -> Roster:
    """One room, one enclosure, two sources."""
    return Roster(SETUP, SOURCES, KNOWN)


@pytest.mark.parametrize(
    ("topic", "address"),
    [
        ("dewkeep/cork-cube/canopy", ("cork-cube", "canopy")),
        ("dewkeep/back-room/air", ("back-room", "air")),
        ("rack/0x01/state", ("cork-cube", "canopy")),
        ("rack/0x04/state", ("cork-cube", "canopy")),
        ("shelf/0x04/humidity", ("cork-cube", "canopy")),
        ("shelf/0x05/temperature", ("back-room", "air")),
    ],
)
def test_topics_lead_to_probes(roster: Roster, topic: str, address: tuple[str, str]) -> None:
    """By name, by a source's list of devices, by a probe's device; the second time too."""
    for _ in range(2):
        position = roster.route(topic).position
        assert (position.place, position.probe.id) == address


def test_two_topics_of_one_probe_share_its_series(roster: Roster) -> None:
    """A series that is known or found by one way is known by all."""
    position = roster.route("rack/0x01/state").position

    assert position is roster.route("dewkeep/cork-cube/canopy").position
    assert position.series == {Quantity.TEMPERATURE: 7}


@pytest.mark.parametrize(
    ("topic", "says"),
    [
        ("dewkeep/attic/canopy", "no room or enclosure 'attic' is set up"),
        ("dewkeep/cork-cube/attic", "'cork-cube' has no probe 'attic'"),
        ("rack/0x02/state", "'cork-cube' has no probe 'gone'"),
        ("rack/0x03/state", "no probe has the device '0x03'"),
        ("shelf/0x01/humidity", "no probe has the device '0x01'"),
        ("shelf/0x04/colour", "no source reads this topic"),
        ("somewhere/else", "no source reads this topic"),
    ],
)
def test_what_leads_nowhere_says_why(roster: Roster, topic: str, says: str) -> None:
    """The keeper learns whether topic, enclosure, probe or device is unknown."""
    with pytest.raises(NotFound, match=says):
        roster.route(topic)


@pytest.mark.parametrize(
    ("topic", "expected"),
    [
        ("dewkeep/attic/air", ("attic", "air", "")),
        ("rack/0x02/state", ("cork-cube", "gone", "0x02")),
        ("rack/0x03/state", ("", "", "0x03")),
        ("somewhere/else", ("", "", "")),
    ],
)
def test_a_stranger_is_known_by_what_its_topic_names(
    roster: Roster, topic: str, expected: tuple[str, str, str]
) -> None:
    """So that it can be set up; the topic of a probe is no stranger's."""
    found = roster.stranger(topic)

    assert isinstance(found, Stranger)
    assert (found.place, found.probe, found.device) == expected
    assert roster.stranger("rack/0x04/state") is None


def test_what_a_source_lists_comes_before_the_set_up() -> None:
    """A contradiction is refused wherever it can be seen; where it cannot, this holds."""
    moved = Room(id="back-room", name="Back room", probe=(RoomProbe(id="air", device="0x01"),))
    roster = Roster(SETUP.model_copy(update={"room": (moved,)}), SOURCES, KNOWN)

    assert roster.route("rack/0x01/state").position.place == "cork-cube"
    assert roster.route("shelf/0x01/humidity").position.place == "back-room"


def test_devices_of_another_daemon_are_left_alone() -> None:
    """By name or by device they are no strangers, and give nothing."""
    roster = Roster(SETUP, SOURCES, KNOWN, ELSEWHERE)

    for topic in ("dewkeep/fern-jar/floor", "rack/0x08/state", "shelf/0x08/humidity"):
        assert roster.route(topic) is NOT_OURS
