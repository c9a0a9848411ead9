"""Where readings come from: the ``[[source]]`` tables of the settings file.

docs/payloads.md explains each key to a keeper.
"""

from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Annotated, Self

from jsonpointer import JsonPointer, JsonPointerException
from pydantic import AfterValidator, Field, StringConstraints, field_validator, model_validator

from monitor.documents.problems import Route, key_of
from monitor.documents.schema import EXPECTS
from monitor.errors import Problem, SettingsError
from monitor.quantities import MEASURED, Quantity
from monitor.setup.models import Model, Setup, devices_of

MAX_TOPIC_BYTES = 65_535


class PayloadKind(StrEnum):
    """How the bytes of a message are read."""

    SENML = "senml"
    JSON = "json"
    NUMBER = "number"


class TimeUnit(StrEnum):
    """How a JSON payload writes its time."""

    SECONDS = "s"
    MILLISECONDS = "ms"
    MICROSECONDS = "us"
    NANOSECONDS = "ns"
    RFC3339 = "rfc3339"


class Level(StrEnum):
    """A topic level that means something, written ``{name}`` in a topic template."""

    ENCLOSURE = "enclosure"
    """The id of an enclosure or of a room."""
    PROBE = "probe"
    DEVICE = "device"
    """Looked up in the source's ``devices``, then among those of the set-up's probes."""
    QUANTITY = "quantity"


_LEVEL_NAMES = frozenset(level.value for level in Level)


def _points_somewhere(value: str) -> str:
    try:
        JsonPointer(value)
    except JsonPointerException as error:
        raise ValueError(
            f"{value!r} is no JSON Pointer ({error}); write for example /air/temperature, "
            "with ~1 for a slash and ~0 for a tilde inside a name"
        ) from error
    return value


Pointer = Annotated[str, AfterValidator(_points_somewhere)]
ProbeAddress = Annotated[
    str,
    StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}/[A-Za-z0-9][A-Za-z0-9_-]{0,63}$"),
    Field(json_schema_extra={EXPECTS: "ENCLOSURE/PROBE or ROOM/PROBE, by their ids"}),
]
"""``ENCLOSURE/PROBE`` (or ``ROOM/PROBE``), by their ids."""


class Source(Model):
    """One kind of message: on which topics it comes and how it is read."""

    topic: str
    """A topic whose levels may be ``{enclosure}``, ``{probe}``, ``{device}``, ``{quantity}``."""
    payload: PayloadKind = PayloadKind.SENML
    temperature: Pointer | None = None
    """JSON only: where the air temperature stands, Cel."""
    humidity: Pointer | None = None
    """JSON only: where the relative humidity stands, %RH."""
    substrate_moisture: Pointer | None = None
    """JSON only: where the substrate moisture stands, %."""
    surface_temperature: Pointer | None = None
    """JSON only: where the surface temperature stands, Cel."""
    illuminance: Pointer | None = None
    """JSON only: where the illuminance stands, lx."""
    battery: Pointer | None = None
    """JSON only: where the charge left in the probe's battery stands, %EL."""
    time: Pointer | None = None
    """JSON only: where the time of the reading stands; without it the arrival time counts."""
    time_unit: TimeUnit = TimeUnit.SECONDS
    """How ``time`` is written: a number since 1970 in this unit, or RFC 3339 text."""
    quantity: Quantity | None = None
    """Number only: what the number is, unless a ``{quantity}`` level says so."""
    devices: dict[str, ProbeAddress] = Field(default_factory=dict)
    """With ``{device}``: which probe a device is, ``"0x01" = "cork-cube/canopy"``.

    Those that the set-up gives to its probes need not be listed.
    """

    @field_validator("topic")
    @classmethod
    def _is_a_template(cls, value: str) -> str:
        _check_template(value)
        return value

    @field_validator("quantity")
    @classmethod
    def _is_measured(cls, value: Quantity | None) -> Quantity | None:
        if value is not None and value not in MEASURED:
            raise ValueError(
                f"{value} is derived, not measured; one of {', '.join(MEASURED)} would be right"
            )
        return value

    @model_validator(mode="after")
    def _payload_fits(self) -> Self:
        named = [key for key in (*self.pointers, "time") if getattr(self, key) is not None]
        if self.payload is not PayloadKind.JSON and named:
            raise ValueError(f'{named[0]} is a JSON Pointer and needs payload = "json"')
        if self.payload is PayloadKind.JSON and not self.pointers:
            raise ValueError(
                'a json source names at least one quantity, like temperature = "/temperature"'
            )
        if "time_unit" in self.model_fields_set and self.time is None:
            raise ValueError("time_unit does nothing without time: say where the time stands")
        return self

    @model_validator(mode="after")
    def _quantity_fits(self) -> Self:
        in_topic = Level.QUANTITY in template_levels(self.topic)
        if self.payload is not PayloadKind.NUMBER:
            if in_topic or self.quantity is not None:
                raise ValueError(
                    f"a {self.payload} message names its quantities itself: "
                    'leave the quantity out, or set payload = "number"'
                )
        elif in_topic == (self.quantity is not None):
            raise ValueError(
                "a number needs its quantity named once: either quantity = ... "
                "or a {quantity} level in the topic"
            )
        return self

    @model_validator(mode="after")
    def _devices_fit(self) -> Self:
        if self.devices and not self.by_device:
            raise ValueError("devices are listed, but the topic has no {device} level")
        for device in self.devices:
            if not device or any(sign in device for sign in "/+#\0"):
                raise ValueError(
                    f"device {device!r} can never be one topic level: it is empty or holds / + #"
                )
        return self

    @property
    def by_device(self) -> bool:
        """Whether its topic names a device, and not enclosure and probe."""
        return Level.DEVICE in template_levels(self.topic)

    @property
    def timeless(self) -> bool:
        """Whether its messages never hold the time of their readings."""
        return self.payload is not PayloadKind.SENML and self.time is None

    @property
    def pointers(self) -> dict[Quantity, str]:
        """Where in a JSON payload each quantity stands."""
        return {
            quantity: pointer
            for quantity in MEASURED
            if (pointer := getattr(self, quantity)) is not None
        }


def contradictions(
    sources: Sequence[Source], devices: Mapping[str, str]
) -> Iterator[tuple[Route, str]]:
    """Devices that a source lists as another probe than the set-up does (see ``devices_of``)."""
    for number, source in enumerate(sources):
        for device, listed in source.devices.items():
            set_up = devices.get(device, listed)
            if set_up != listed:
                says = (
                    f"device {device!r} is {listed} in the settings and {set_up} in the set-up; "
                    "take it out of one of them"
                )
                yield ("source", number, "devices", device), says


def must_agree(sources: Sequence[Source], setup: Setup) -> None:
    """Let settings and a set-up go together.

    Raises:
        SettingsError: lists all devices that they take for different probes.
    """
    wrong = [
        Problem("settings", key_of(route, {}), says)
        for route, says in contradictions(sources, devices_of(setup.places))
    ]
    if wrong:
        raise SettingsError(wrong)


def template_levels(topic: str) -> Iterator[Level]:
    """The named levels of a topic template, from left to right."""
    return (level for part in topic.split("/") if (level := level_named(part)) is not None)


def level_named(part: str) -> Level | None:
    """What a ``{name}`` part of a topic template stands for; None for a literal part."""
    return Level(part[1:-1]) if part[:1] == "{" else None


def _check_template(topic: str) -> None:
    if not topic:
        raise ValueError("empty; write for example dewkeep/{enclosure}/{probe}")
    if len(topic.encode()) > MAX_TOPIC_BYTES:
        raise ValueError(f"longer than the {MAX_TOPIC_BYTES} bytes MQTT allows")
    if topic.startswith("$"):
        raise ValueError(f"{topic!r} starts with $: such topics belong to the broker")
    for sign in "+#\0":
        if sign in topic:
            raise ValueError(f"{topic!r} holds {sign!r}; name the level instead, like {{probe}}")
    seen: set[str] = set()
    for part in topic.split("/"):
        if "{" not in part and "}" not in part:
            continue
        name = part[1:-1]
        if part != f"{{{name}}}" or "{" in name or "}" in name:
            raise ValueError(
                f"{part!r}: a named level stands alone between slashes, like {{probe}}"
            )
        if name not in _LEVEL_NAMES:
            raise ValueError(
                f"{part!r} is unknown; the named levels are "
                + ", ".join(f"{{{level}}}" for level in Level)
            )
        if name in seen:
            raise ValueError(f"{part!r} stands twice; each named level can stand once")
        seen.add(name)
    place = seen - {Level.QUANTITY}
    if place not in ({Level.ENCLOSURE, Level.PROBE}, {Level.DEVICE}):
        raise ValueError(
            f"{topic!r} must name the probe: either {{enclosure}} and {{probe}}, or {{device}}"
        )
