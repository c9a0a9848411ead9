"""What lives where: rooms, enclosures, probes, inhabitants and ranges, as a keeper writes them.

The models carry the shape of the set-up file and of the API alike; docs/setup.md explains each key.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Literal, Protocol, Self
from zoneinfo import ZoneInfo

from pydantic import Field, field_validator, model_validator

from monitor.documents.base import Date, Identifier, Model, Name, TimeOfDay
from monitor.documents.problems import Route, faults, hint
from monitor.quantities import MEASURED, Quantity
from monitor.setup.device import Device, both
from monitor.setup.mister import Mister
from monitor.setup.timezones import TimeZone
from monitor.species.ranges import Span, Spans, Zone, ZoneRange
from monitor.species.settling import SomeLimits

__all__ = [
    "Correction",
    "Enclosure",
    "HasId",
    "Identifier",
    "Inhabitant",
    "Mister",
    "Model",
    "Name",
    "Probe",
    "Room",
    "RoomProbe",
    "Setup",
    "Span",
    "Spans",
    "Zone",
    "ZoneRange",
    "devices_of",
]

Faults = Iterator[tuple[Route, str]]


class HasId(Protocol):
    """Anything that is told apart by its id."""

    @property
    def id(self) -> str:
        """The name it goes by in topics and addresses."""
        ...


class Correction(Model):
    """A probe's calibration for one quantity: corrected = gain x raw + offset."""

    offset: float = Field(default=0.0, ge=-50.0, le=50.0)
    """Added to the reading, in the quantity's unit."""
    gain: float = Field(default=1.0, ge=0.8, le=1.25)
    """What the reading is multiplied by before that."""


class Probe(Model):
    """One sensor position."""

    id: Identifier
    """Tells the probes of one enclosure apart; part of the topic it publishes on."""
    zone: Zone
    """The place it measures, by role."""
    period_s: float = Field(default=60.0, gt=0, le=86_400)
    """Seconds between readings when all is well."""
    silent_after_s: float | None = Field(default=None, gt=0)
    """Seconds without a reading until the probe counts as silent.

    Default: three periods, at least five minutes.
    """
    calibration: dict[Quantity, Correction] = Field(default_factory=dict)
    """Corrections by quantity."""
    device: Device | None = None
    """The name it publishes under, where a source's topic has a ``{device}`` level."""

    @field_validator("calibration")
    @classmethod
    def _measured(cls, value: dict[Quantity, Correction]) -> dict[Quantity, Correction]:
        says = f"is derived, not measured; correct one of {', '.join(MEASURED)}"
        found: Faults = (((each.value,), says) for each in value if each not in MEASURED)
        _raise_any(found)
        return value

    @property
    def silence_ms(self) -> int:
        """Milliseconds without a reading until the probe counts as silent."""
        return round(1000 * (self.silent_after_s or max(3 * self.period_s, 300.0)))


class RoomProbe(Probe):
    """A probe in the air outside the enclosures."""

    zone: Literal[Zone.ROOM] = Zone.ROOM
    """Always ``room``."""


class Inhabitant(Model):
    """A species that lives in an enclosure."""

    species: Identifier
    """The id of its profile."""
    count: int | None = Field(default=None, ge=1)
    """How many of them."""
    since: Date | None = None
    """The day they moved in."""


class Room(Model):
    """The space the enclosures stand in."""

    id: Identifier
    """Tells it apart from all other rooms and enclosures."""
    name: Name
    """What people call it."""
    probe: tuple[RoomProbe, ...] = ()
    """The probes in its air."""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        _raise_any(_repeated(self.probe, "probe"), _shared_devices([((), self)]))
        return self


class Enclosure(Model):
    """One closed habitat."""

    id: Identifier
    """Tells it apart from all other rooms and enclosures."""
    name: Name
    """What people call it."""
    room: Identifier | None = None
    """The id of the room it stands in."""
    timezone: TimeZone = "UTC"
    """The time zone of its clock, as in the IANA list."""
    lights_on: TimeOfDay = dt.time(8)
    """When its day begins, on its own clock."""
    lights_off: TimeOfDay = dt.time(20)
    """When its night begins, on its own clock."""
    volume_l: float | None = Field(default=None, gt=0)
    """Litres of air it holds."""
    built_on: Date | None = None
    """The day it was planted and closed."""
    probe: tuple[Probe, ...] = ()
    """Its probes."""
    inhabitant: tuple[Inhabitant, ...] = ()
    """Who lives in it."""
    range: dict[Zone, ZoneRange] = Field(default_factory=dict)
    """Ranges by zone; each one given overrides what the inhabitants need."""
    mister: Mister | None = None
    """What its mister can do and when it may run."""
    settling: SomeLimits = Field(default_factory=dict)
    """What it must show before it counts as settled; each limit given comes before all others."""

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        _raise_any(
            _repeated(self.probe, "probe"),
            _shared_devices([((), self)]),
            _outside(self),
            _beyond_critical(self),
        )
        return self

    @property
    def zone_info(self) -> ZoneInfo:
        """The enclosure's own time zone."""
        return ZoneInfo(self.timezone)


class Setup(Model):
    """All rooms and enclosures, in the shape of the set-up file."""

    room: tuple[Room, ...] = ()
    """The rooms."""
    enclosure: tuple[Enclosure, ...] = ()
    """The enclosures."""

    @property
    def places(self) -> tuple[Room | Enclosure, ...]:
        """Rooms, then the enclosures that may stand in them."""
        return (*self.room, *self.enclosure)

    def only(self, has: Callable[[str], bool]) -> Self:
        """The rooms and enclosures whose ids are wanted; a room they stand in may be missing."""
        return self.model_copy(
            update={
                "room": tuple(each for each in self.room if has(each.id)),
                "enclosure": tuple(each for each in self.enclosure if has(each.id)),
            }
        )

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        kinds: dict[str, Sequence[Room | Enclosure]]
        kinds = {"room": self.room, "enclosure": self.enclosure}
        places: list[tuple[Route, Room | Enclosure]] = [
            ((kind, number), place)
            for kind, found in kinds.items()
            for number, place in enumerate(found)
        ]
        _raise_any(_shared_ids(self), _strange_rooms(self), _shared_devices(places))
        return self


def devices_of(places: Iterable[Room | Enclosure]) -> dict[str, str]:
    """Which probe each device is, as ``ENCLOSURE/PROBE`` or ``ROOM/PROBE``."""
    return {
        probe.device: f"{place.id}/{probe.id}"
        for place in places
        for probe in place.probe
        if probe.device is not None
    }


def _raise_any(*checks: Faults) -> None:
    found = [fault for check in checks for fault in check]
    if found:
        raise faults(found)


def _repeated(things: Iterable[HasId], what: str) -> Faults:
    seen: set[str] = set()
    for number, thing in enumerate(things):
        if thing.id in seen:
            yield (
                (what, number, "id"),
                f"two of them have the id {thing.id!r}; every {what} needs its own",
            )
        seen.add(thing.id)


def _shared_ids(setup: Setup) -> Faults:
    yield from _repeated(setup.room, "room")
    yield from _repeated(setup.enclosure, "enclosure")
    rooms = {room.id for room in setup.room}
    for number, enclosure in enumerate(setup.enclosure):
        if enclosure.id in rooms:
            yield (
                ("enclosure", number, "id"),
                f"a room has the id {enclosure.id!r} already; readings could not be told apart",
            )


def _shared_devices(places: Iterable[tuple[Route, Room | Enclosure]]) -> Faults:
    taken: dict[str, str] = {}
    for route, place in places:
        for number, probe in enumerate(place.probe):
            if probe.device is None:
                continue
            address = f"{place.id}/{probe.id}"
            if probe.device in taken:
                says = both(probe.device, taken[probe.device], address)
                yield (*route, "probe", number, "device"), says
            taken[probe.device] = address


def _strange_rooms(setup: Setup) -> Faults:
    rooms = [room.id for room in setup.room]
    for number, enclosure in enumerate(setup.enclosure):
        if enclosure.room is not None and enclosure.room not in rooms:
            yield (
                ("enclosure", number, "room"),
                f"no [[room]] has the id {enclosure.room!r}{hint(enclosure.room, rooms)}",
            )


def _outside(enclosure: Enclosure) -> Faults:
    for number, probe in enumerate(enclosure.probe):
        if probe.zone is Zone.ROOM:
            yield (
                ("probe", number, "zone"),
                "'room' is the air outside the enclosures: write this probe under [[room.probe]]",
            )
    if Zone.ROOM in enclosure.range:
        yield ("range", "room"), "'room' is the air outside the enclosure, which has no range"


def _beyond_critical(enclosure: Enclosure) -> Faults:
    for zone, wanted in enclosure.range.items():
        critical = wanted.critical.given()
        for when, spans in (("day", wanted.day), ("night", wanted.night)):
            for quantity, span in spans.given().items():
                if quantity in critical and not critical[quantity].holds(span):
                    at = ("range", zone.value, when, quantity.value)
                    yield at, f"{span} reaches beyond the critical range {critical[quantity]}"
