"""Who was heard and is not known: what is offered for each topic, whatever it says."""

import pytest

from monitor.ingest.intake import UNKNOWN
from monitor.ingest.rejects import Reject
from monitor.setup.device import LONGEST
from monitor.setup.models import Enclosure, Probe, Room, RoomProbe, Setup, Zone
from monitor.setup.sources import Source
from monitor.web.strangers import LONGEST_SHOWN, Stranger, strangers
from tests.hostile.test_names import SCRIPTS

PLACED = Setup(
    room=(Room(id="back-room", name="Back", probe=(RoomProbe(id="air", device="0x01"),)),),
    enclosure=(
        Enclosure(id="cork-cube", name="Cork", probe=(Probe(id="canopy", zone=Zone.CANOPY),)),
    ),
)
SOURCES = (
    Source(topic="dewkeep/{enclosure}/{probe}"),
    Source(topic="rack/{device}/state", devices={"0x02": "cork-cube/floor"}),
)


def heard(*topics: str, reason: str = UNKNOWN) -> list[Stranger]:
    """What is made of topics that were rejected."""
    return strangers([Reject(0, topic, reason, "-") for topic in topics], PLACED, SOURCES)


@pytest.mark.parametrize(
    ("topic", "offer", "link"),
    [
        (
            "dewkeep/cork-cube/floor",
            "This is a probe of cork-cube",
            "/setup/enclosures/cork-cube?probe=floor",
        ),
        (
            "dewkeep/back-room/door",
            "This is a probe of back-room",
            "/setup/rooms/back-room?probe=door",
        ),
        (
            "dewkeep/fern-jar/floor",
            "Set up fern-jar with it",
            "/setup/enclosures/-new?place=fern-jar&probe=floor",
        ),
        ("rack/0x07/state", "This is a probe of …", "/setup/device?name=0x07"),
        ("rack/a&b=c?/state", "This is a probe of …", "/setup/device?name=a%26b%3Dc%3F"),
        ("rack/苔/state", "This is a probe of …", "/setup/device?name=%E8%8B%94"),
        (
            "rack/0x02/state",
            "This is a probe of cork-cube",
            "/setup/enclosures/cork-cube?probe=floor",
        ),
    ],
)
def test_each_leads_to_the_form_that_makes_it_known(topic: str, offer: str, link: str) -> None:
    """Enclosure, room, a new one, or the question which probe a device is."""
    (stranger,) = heard(topic)

    assert (stranger.topic, stranger.offer, stranger.link) == (topic, offer, link)


@pytest.mark.parametrize(
    ("topic", "says"),
    [
        ("nobody/reads/this/topic", "no source reads this topic"),
        ("dewkeep/cork-cube/a b", "such a name can be no id"),
        ("dewkeep/" + "x" * 65 + "/floor", "such a name can be no id"),
        ("rack/ 0x07/state", "in the settings only"),
        ("rack/a\tb/state", "in the settings only"),
        ("rack/" + "x" * (LONGEST + 1) + "/state", "in the settings only"),
    ],
)
def test_what_no_form_can_set_up_is_said_and_not_offered(topic: str, says: str) -> None:
    """A link that leads to a refusal helps nobody."""
    (stranger,) = heard(topic)

    assert says in stranger.says
    assert (stranger.link, stranger.offer) == ("", "")


@pytest.mark.parametrize("name", SCRIPTS)
def test_a_name_that_is_a_script_stays_one_value_of_a_link(name: str) -> None:
    """Nothing of it is left in the address as it stands."""
    (stranger,) = heard(f"rack/{name.replace('/', '')}/state")

    assert stranger.link.startswith("/setup/device?name=")
    assert not set("<>\"'&{}() ") & set(stranger.link)


def test_who_is_known_by_now_is_no_stranger_any_more() -> None:
    """Nor is a message that was refused for another reason; each topic stands once."""
    assert heard("dewkeep/cork-cube/canopy", "rack/0x01/state") == []
    assert heard("rack/0x07/state", reason="malformed") == []
    assert len(heard("rack/0x07/state", "rack/0x08/state", "rack/0x07/state")) == 2


def test_a_topic_without_end_is_cut_off() -> None:
    """It may be 65,535 bytes long; what is told of it is short."""
    (stranger,) = heard("rack/" + "苔" * 20_000 + "/state")

    assert len(stranger.topic) == LONGEST_SHOWN + 1
    assert len(stranger.says) < 2 * LONGEST_SHOWN
