"""Where readings come from, as a keeper writes it."""

import pytest
from pydantic import ValidationError

from monitor.quantities import Quantity
from monitor.setup.sources import Level, PayloadKind, Source, TimeUnit, level_named, template_levels

TOPIC = "dewkeep/{enclosure}/{probe}"


def test_senml_needs_a_topic_and_nothing_else() -> None:
    """The plainest source is one line, and its payload is SenML."""
    source = Source(topic=TOPIC)

    assert source.payload is PayloadKind.SENML
    assert source.pointers == {}
    assert list(template_levels(source.topic)) == [Level.ENCLOSURE, Level.PROBE]


def test_a_rack_of_devices_is_read_by_pointers() -> None:
    """The rack example: devices are looked up, fields are pointed at, time has a unit."""
    source = Source.model_validate(
        {
            "topic": "rack/{device}/state",
            "payload": "json",
            "temperature": "/t",
            "humidity": "/h",
            "time": "/ts",
            "time_unit": "ms",
            "devices": {"0x01": "cork-cube/canopy"},
        }
    )

    assert source.pointers == {Quantity.TEMPERATURE: "/t", Quantity.HUMIDITY: "/h"}
    assert source.time_unit is TimeUnit.MILLISECONDS


@pytest.mark.parametrize("name", ["temperature", "illuminance", "surface_temperature"])
def test_a_bare_number_names_its_quantity_once(name: str) -> None:
    """The quantity of a bare number stands in the settings or in the topic."""
    fixed = Source.model_validate({"topic": TOPIC, "payload": "number", "quantity": name})
    in_topic = Source.model_validate({"topic": TOPIC + "/{quantity}", "payload": "number"})

    assert fixed.quantity == name
    assert in_topic.quantity is None


def test_a_source_of_devices_need_not_list_them() -> None:
    """The set-up says which probe each of them is."""
    source = Source(topic="rack/{device}/state")

    assert source.by_device
    assert not Source(topic=TOPIC).by_device


def test_only_a_braced_part_is_a_named_level() -> None:
    """Literal parts of a template stand for themselves."""
    assert [level_named(part) for part in ("rack", "", "{probe}")] == [None, None, Level.PROBE]


@pytest.mark.parametrize(
    ("topic", "says"),
    [
        ("", "empty; write for example"),
        ("a/{enclosure}", "must name the probe"),
        ("a/{probe}", "must name the probe"),
        ("a/b", "must name the probe"),
        ("{device}/{probe}", "must name the probe"),
        ("a/{enclosure}/{probe}/{room}", "'{room}' is unknown; the named levels are {enclosure}"),
        ("a/{}/{enclosure}/{probe}", "'{}' is unknown"),
        ("a/{enclosure}/{probe}/{probe}", "'{probe}' stands twice"),
        ("a/{enclosure}-{probe}", "a named level stands alone between slashes"),
        ("a/{enclosure}/x{probe}", "a named level stands alone between slashes"),
        ("a/{enclosure}/{probe", "a named level stands alone between slashes"),
        ("a/{enclosure}/}", "a named level stands alone between slashes"),
        ("a/{enclosure}/{{probe}}", "a named level stands alone between slashes"),
        ("a/+/{enclosure}/{probe}", r"holds '\+'; name the level instead"),
        ("a/{enclosure}/{probe}/#", "holds '#'; name the level instead"),
        ("$share/g/{enclosure}/{probe}", "such topics belong to the broker"),
        ("a" * 65_520 + "/{enclosure}/{probe}", "longer than the 65535 bytes"),
    ],
)
def test_a_bad_topic_is_refused_with_what_would_be_right(topic: str, says: str) -> None:
    """A template that could not be subscribed to, or names no probe, is a settings mistake."""
    with pytest.raises(ValidationError, match=says):
        Source(topic=topic)


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"payload": "cbor"}, "'senml', 'json' or 'number'"),
        ({"payload": "json"}, "names at least one quantity"),
        ({"temperature": "/t"}, 'temperature is a JSON Pointer and needs payload = "json"'),
        ({"time": "/ts"}, 'time is a JSON Pointer and needs payload = "json"'),
        ({"payload": "json", "temperature": "t"}, "'t' is no JSON Pointer"),
        ({"payload": "json", "temperature": "/a~2"}, "'/a~2' is no JSON Pointer"),
        ({"payload": "json", "temperature": "/t", "time_unit": "s"}, "does nothing without time"),
        ({"payload": "number"}, "needs its quantity named once"),
        ({"quantity": "temperature"}, "names its quantities itself"),
        ({"payload": "number", "quantity": "dew_point"}, "dew_point is derived, not measured"),
        ({"payload": "number", "quantity": "ph"}, "'temperature', 'humidity'"),
        ({"devices": {"a": "cork-cube/canopy"}}, "no {device} level"),
        ({"topic": "rack/{device}", "devices": {"a/b": "cork-cube/canopy"}}, "'a/b' can never be"),
        ({"topic": "rack/{device}", "devices": {"": "cork-cube/canopy"}}, "'' can never be"),
        ({"topic": "rack/{device}", "devices": {"a": "cork-cube"}}, "String should match pattern"),
        ({"topic": TOPIC + "/{quantity}"}, "names its quantities itself"),
        ({"colour": "green"}, "Extra inputs are not permitted"),
    ],
)
def test_keys_that_do_not_fit_together_are_refused(keys: dict[str, object], says: str) -> None:
    """Keys that would be silently useless, or contradict each other, are settings mistakes."""
    with pytest.raises(ValidationError, match=says):
        Source.model_validate({"topic": TOPIC, **keys})


def test_a_number_cannot_name_its_quantity_twice() -> None:
    """With a {quantity} level a fixed quantity would contradict it."""
    with pytest.raises(ValidationError, match="named once"):
        Source(
            topic=TOPIC + "/{quantity}",
            payload=PayloadKind.NUMBER,
            quantity=Quantity.TEMPERATURE,
        )
