"""The name of a device, as it stands in the topics it publishes on."""

from typing import Annotated

from pydantic import Field, StringConstraints, TypeAdapter, ValidationError

from monitor.documents.schema import EXPECTS

LONGEST = 200

Device = Annotated[
    str,
    StringConstraints(
        strip_whitespace=True,
        min_length=1,
        max_length=LONGEST,
        pattern=r"^[^\x00-\x1f\x7f-\x9f/+#]+$",
    ),
    Field(
        json_schema_extra={
            EXPECTS: f"a device's name as it stands in the topic, of 1 to {LONGEST} characters "
            "on one line (it is one level of the topic, so no / + #)"
        }
    ),
]

_DEVICE: TypeAdapter[str] = TypeAdapter(Device)


def can_be_set_up(name: str) -> bool:
    """Whether a probe can have this device, letter by letter."""
    try:
        return _DEVICE.validate_python(name) == name
    except ValidationError:
        return False


def both(device: str, one: str, other: str) -> str:
    """Say that a device is given to two probes, each as ``ENCLOSURE/PROBE``."""
    return (
        f"device {device!r} is both {one} and {other}; one device is one probe: "
        "take it out of one of them"
    )
