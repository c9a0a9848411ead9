"""Zones, spans, and the ranges a zone should hold: the words that species and set-up share."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Any, Literal, Self, get_args

from pydantic import GetJsonSchemaHandler, model_serializer, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from monitor.documents.base import Model
from monitor.documents.problems import faults
from monitor.documents.schema import EXPECTS
from monitor.quantities import MEASURED, Quantity


class Zone(StrEnum):
    """A place inside an enclosure, by its role; ``room`` is the air outside it."""

    BASKING = "basking"
    WARM = "warm"
    COOL = "cool"
    CANOPY = "canopy"
    FLOOR = "floor"
    SUBSTRATE = "substrate"
    ROOM = "room"


AMBIENT = (Zone.WARM, Zone.COOL, Zone.CANOPY, Zone.FLOOR)
"""Zones that hold the enclosure's air at large: neither a heated spot nor soil."""


Ranged = Literal[
    Quantity.TEMPERATURE,
    Quantity.HUMIDITY,
    Quantity.SUBSTRATE_MOISTURE,
    Quantity.SURFACE_TEMPERATURE,
]
"""A quantity that can have a range."""
RANGED: tuple[Ranged, ...] = get_args(Ranged)


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
            raise ValueError(f"reversed range {self}: write the lower number first")
        return self

    @model_serializer
    def _as_pair(self) -> list[float]:
        return [self.low, self.high]

    @classmethod
    def __get_pydantic_json_schema__(
        cls, _core: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {
            "type": "array",
            "items": {"type": "number"},
            "minItems": 2,
            "maxItems": 2,
            EXPECTS: "two numbers: [lowest, highest]",
        }

    def holds(self, other: "Span") -> bool:
        """Whether all of the other span lies within this one."""
        return self.low <= other.low and other.high <= self.high

    def __str__(self) -> str:
        return f"[{self.low:g}, {self.high:g}]"


class Spans(Model):
    """Ranges of the quantities that can be alarmed on, each optional."""

    temperature: Span | None = None
    """Air temperature (in the zone ``substrate``: the soil's), Cel."""
    humidity: Span | None = None
    """Relative humidity, %RH."""
    substrate_moisture: Span | None = None
    """Volumetric or relative moisture as the probe reports it, %."""
    surface_temperature: Span | None = None
    """Surface temperature, Cel."""

    @model_validator(mode="after")
    def _measurable(self) -> Self:
        found: list[Any] = []
        for quantity, span in self.given().items():
            says = beyond_measure(quantity, span)
            if says is not None:
                found.append(((quantity.value,), says))
        if found:
            raise faults(found)
        return self

    def given(self) -> dict[Ranged, Span]:
        """The spans that are there, by quantity."""
        return {
            quantity: span for quantity in RANGED if (span := getattr(self, quantity)) is not None
        }


class ZoneRange(Model):
    """What a zone should hold by day and by night, and what it must never reach."""

    day: Spans = Spans()
    """From lights on to lights off."""
    night: Spans = Spans()
    """From lights off to lights on."""
    critical: Spans = Spans()
    """Day and night; beyond it harm is near."""


def with_own(
    shared: Mapping[Zone, ZoneRange], own: Mapping[Zone, ZoneRange]
) -> dict[Zone, ZoneRange]:
    """What inhabitants share, with what a keeper wrote in its place, key by key."""
    overridden = {
        zone: _overridden(shared.get(zone, ZoneRange()), written) for zone, written in own.items()
    }
    return {**shared, **overridden}


def _overridden(shared: ZoneRange, own: ZoneRange) -> ZoneRange:
    return ZoneRange(
        **{when: Spans(**(spans.given() | getattr(own, when).given())) for when, spans in shared}
    )


def beyond_measure(quantity: Ranged, span: Span) -> str | None:
    """What is wrong with a span that no working probe could ever report; None if nothing is."""
    trait = MEASURED[quantity]
    if Span(low=trait.lowest, high=trait.highest).holds(span):
        return None
    return (
        f"{span} reaches outside what a probe can measure "
        f"({trait.lowest:g} to {trait.highest:g} {trait.unit})"
    )
