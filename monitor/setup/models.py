"""What lives where: rooms, enclosures, probes, inhabitants and ranges, as a keeper writes them.

The models carry the shape of the set-up file and of the API alike; docs/setup.md explains each key.
"""

import datetime as dt
from collections.abc import Iterable
from enum import StrEnum
from typing import Annotated, Protocol, Self
from zoneinfo import ZoneInfo, available_timezones

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    field_validator,
    model_validator,
)

from monitor.quantities import MEASURED, Quantity

Identifier = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]{0,63}$")]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]


class HasId(Protocol):
    """Anything that is told apart by its id."""

    @property
    def id(self) -> str:
        """The name it goes by in topics and addresses."""
        ...


class Zone(StrEnum):
    """A place inside an enclosure, by its role."""

    BASKING = "basking"
    WARM = "warm"
    COOL = "cool"
    CANOPY = "canopy"
    FLOOR = "floor"
    SUBSTRATE = "substrate"
    ROOM = "room"


class Model(BaseModel):
    """Strict base: unknown keys are mistakes, numbers are finite, values do not change."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, use_attribute_docstrings=True
    )


class Span(Model):
    """Lowest and highest allowed value; written ``[low, high]``."""

    low: float
    high: float

    @model_validator(mode="before")
    @classmethod
    def _from_pair(cls, value: object) -> object:
        if isinstance(value, list | tuple):
            if len(value) != 2:
                raise ValueError("write two numbers: [lowest, highest]")
            return {"low": value[0], "high": value[1]}
        return value

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low >= self.high:
            raise ValueError(
                f"reversed range [{self.low:g}, {self.high:g}]: write the lower number first"
            )
        return self


class Spans(Model):
    """Ranges of the quantities that can be alarmed on, each optional."""

    temperature: Span | None = None
    """Air temperature, Cel."""
    humidity: Span | None = None
    """Relative humidity, %RH."""
    substrate_moisture: Span | None = None
    """Volumetric or relative moisture as the probe reports it, %."""
    surface_temperature: Span | None = None
    """Surface temperature, Cel."""

    @model_validator(mode="after")
    def _measurable(self) -> Self:
        for name, span in self:
            if span is None:
                continue
            trait = MEASURED[Quantity(name)]
            if span.low < trait.lowest or span.high > trait.highest:
                raise ValueError(
                    f"{name} [{span.low:g}, {span.high:g}] reaches outside what a probe can "
                    f"measure ({trait.lowest:g} to {trait.highest:g} {trait.unit})"
                )
        return self


class ZoneRange(Model):
    """What a zone should hold by day and by night, and what it must never reach."""

    day: Spans = Spans()
    night: Spans = Spans()
    critical: Spans = Spans()


class Correction(Model):
    """A probe's calibration for one quantity: corrected = gain x raw + offset."""

    offset: float = Field(default=0.0, ge=-50.0, le=50.0)
    gain: float = Field(default=1.0, ge=0.8, le=1.25)


class Probe(Model):
    """One sensor position."""

    id: Identifier
    zone: Zone
    period_s: float = Field(default=60.0, gt=0, le=86_400)
    """Seconds between readings when all is well."""
    silent_after_s: float | None = Field(default=None, gt=0)
    """Seconds without a reading until the probe counts as silent.

    Default: three periods, at least five minutes.
    """
    calibration: dict[Quantity, Correction] = Field(default_factory=dict)

    @property
    def silence_ms(self) -> int:
        """Milliseconds without a reading until the probe counts as silent."""
        return round(1000 * (self.silent_after_s or max(3 * self.period_s, 300.0)))


class RoomProbe(Probe):
    """A probe in the air outside the enclosures."""

    zone: Zone = Zone.ROOM


class Inhabitant(Model):
    """A species that lives in an enclosure."""

    species: Identifier
    count: int | None = Field(default=None, ge=1)
    since: dt.date | None = None


class Room(Model):
    """The space the enclosures stand in."""

    id: Identifier
    name: Name
    probe: tuple[RoomProbe, ...] = ()

    @field_validator("probe")
    @classmethod
    def _ids_differ(cls, value: tuple[RoomProbe, ...]) -> tuple[RoomProbe, ...]:
        _all_different(value, "probe")
        return value


class Enclosure(Model):
    """One closed habitat."""

    id: Identifier
    name: Name
    room: Identifier | None = None
    timezone: str = "UTC"
    lights_on: dt.time = dt.time(8)
    lights_off: dt.time = dt.time(20)
    volume_l: float | None = Field(default=None, gt=0)
    built_on: dt.date | None = None
    probe: tuple[Probe, ...] = ()
    inhabitant: tuple[Inhabitant, ...] = ()
    range: dict[Zone, ZoneRange] = Field(default_factory=dict)
    """Ranges by zone; they override what the inhabitants need."""

    @field_validator("probe")
    @classmethod
    def _ids_differ(cls, value: tuple[Probe, ...]) -> tuple[Probe, ...]:
        _all_different(value, "probe")
        return value

    @field_validator("timezone")
    @classmethod
    def _known_timezone(cls, value: str) -> str:
        if value not in available_timezones():
            raise ValueError(f"{value!r} is no IANA time zone; write for example Europe/Lisbon")
        return value

    @property
    def zone_info(self) -> ZoneInfo:
        """The enclosure's own time zone."""
        return ZoneInfo(self.timezone)


class Setup(Model):
    """All rooms and enclosures, in the shape of the set-up file."""

    room: tuple[Room, ...] = ()
    enclosure: tuple[Enclosure, ...] = ()

    @model_validator(mode="after")
    def _fits_together(self) -> Self:
        _all_different((*self.room, *self.enclosure), "room or enclosure")
        rooms = {room.id for room in self.room}
        for enclosure in self.enclosure:
            if enclosure.room is not None and enclosure.room not in rooms:
                raise ValueError(
                    f"enclosure {enclosure.id!r} stands in room {enclosure.room!r}, "
                    "which is not set up"
                )
        return self


def _all_different(things: Iterable[HasId], what: str) -> None:
    seen: set[str] = set()
    for thing in things:
        if thing.id in seen:
            raise ValueError(f"two of them have the id {thing.id!r}; every {what} needs its own")
        seen.add(thing.id)
