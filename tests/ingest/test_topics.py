"""Topic templates: what is subscribed to and what a topic says."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from monitor.ingest.topics import Address, Template
from monitor.quantities import Quantity
from monitor.setup.sources import PayloadKind, Source

RACK = Source(
    topic="rack/{device}/state",
    payload=PayloadKind.JSON,
    temperature="/t",
)
BY_QUANTITY = Source(topic="house/{enclosure}/{probe}/{quantity}", payload=PayloadKind.NUMBER)


def template(topic: str) -> Template:
    """A template of a plain SenML source."""
    return Template(Source(topic=topic))


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        (Source(topic="dewkeep/{enclosure}/{probe}"), "dewkeep/+/+"),
        (Source(topic="{probe}/at/{enclosure}"), "+/at/+"),
        (Source(topic="/{enclosure}/{probe}/"), "/+/+/"),
        (RACK, "rack/+/state"),
        (BY_QUANTITY, "house/+/+/+"),
    ],
)
def test_named_levels_become_plus(source: Source, expected: str) -> None:
    """The filter to subscribe to has + wherever a level is named."""
    assert Template(source).filter == expected


@pytest.mark.parametrize(
    ("source", "topic", "expected"),
    [
        (
            Source(topic="dewkeep/{enclosure}/{probe}"),
            "dewkeep/cork-cube/canopy",
            Address("cork-cube", "canopy"),
        ),
        (Source(topic="{probe}/at/{enclosure}"), "floor/at/fern", Address("fern", "floor")),
        (Source(topic="/{enclosure}/{probe}/"), "/fern/floor/", Address("fern", "floor")),
        (Source(topic="{enclosure}/{probe}"), "a$/ b", Address("a$", " b")),
        (RACK, "rack/0x01/state", Address(device="0x01")),
        (RACK, "rack/{device}/state", Address(device="{device}")),
        (RACK, "rack/苔 <b>/state", Address(device="苔 <b>")),
        (
            BY_QUANTITY,
            "house/fern/floor/substrate_moisture",
            Address("fern", "floor", Quantity.SUBSTRATE_MOISTURE),
        ),
    ],
)
def test_a_topic_says_where_its_message_belongs(
    source: Source, topic: str, expected: Address
) -> None:
    """Matching topics give place and probe, or a device, and the quantity if a level names it."""
    assert Template(source).match(topic) == expected


@pytest.mark.parametrize(
    ("source", "topic"),
    [
        (Source(topic="dewkeep/{enclosure}/{probe}"), "dewkeep/cork-cube"),
        (Source(topic="dewkeep/{enclosure}/{probe}"), "dewkeep/cork-cube/canopy/x"),
        (Source(topic="dewkeep/{enclosure}/{probe}"), "Dewkeep/cork-cube/canopy"),
        (Source(topic="dewkeep/{enclosure}/{probe}"), "/dewkeep/cork-cube/canopy"),
        (Source(topic="dewkeep/{enclosure}/{probe}"), "dewkeep//canopy"),
        (Source(topic="dewkeep/{enclosure}/{probe}"), "dewkeep/cork-cube/"),
        (Source(topic="dewkeep/{enclosure}/{probe}"), ""),
        (Source(topic="{enclosure}/{probe}"), "$SYS/uptime"),
        (Source(topic="{enclosure}/{probe}"), "$SYS/broker/uptime"),
        (RACK, "rack//state"),
        (RACK, "rack/0x01/status"),
        (BY_QUANTITY, "house/fern/floor/colour"),
        (BY_QUANTITY, "house/fern/floor/dew_point"),
    ],
)
def test_other_topics_are_not_this_sources(source: Source, topic: str) -> None:
    """Wrong shape, empty ids and devices, unmeasured quantities, broker topics: None."""
    assert Template(source).match(topic) is None


LEVELS = st.sampled_from(["dewkeep", "cork-cube", "canopy", "", "$SYS", "a b"])


@given(
    prefix=st.lists(st.sampled_from(["dewkeep", "a b", ""]), max_size=2),
    swapped=st.booleans(),
    topic=st.lists(LEVELS, min_size=1, max_size=5).map("/".join),
)
def test_whatever_matches_is_covered_by_the_filter(
    prefix: list[str], swapped: bool, topic: str
) -> None:
    """Against the MQTT client's own matcher: a matched topic is one the filter delivers."""
    names = ["{probe}", "{enclosure}"] if swapped else ["{enclosure}", "{probe}"]
    one = template("/".join([*prefix, *names]))

    delivered = topic_matches_sub(one.filter, topic)

    if "" not in topic.split("/")[len(prefix) :]:
        assert (one.match(topic) is not None) == delivered
    else:
        assert one.match(topic) is None
