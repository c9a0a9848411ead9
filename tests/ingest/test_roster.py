"""From a topic to a probe."""

import pytest

from monitor.errors import NotFound
from monitor.ingest.roster import Roster
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Room, RoomProbe, Setup, Zone
from monitor.setup.settings import Settings
from monitor.store.readings import SeriesKey

SETUP = Setup(
    room=(Room(id="back-room", name="Back room", probe=(RoomProbe(id="air"),)),),
    enclosure=(
        Enclosure(id="cork-cube", name="Cork", probe=(Probe(id="canopy", zone=Zone.CANOPY),)),
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
        ]
    }
).source
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
    ],
)
def test_topics_lead_to_probes(roster: Roster, topic: str, address: tuple[str, str]) -> None:
    """By name, or by the list of a source's devices; the same way the second time."""
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
        ("somewhere/else", "no source reads this topic"),
    ],
)
def test_what_leads_nowhere_says_why(roster: Roster, topic: str, says: str) -> None:
    """The keeper learns whether topic, enclosure or probe is unknown."""
    with pytest.raises(NotFound, match=says):
        roster.route(topic)
