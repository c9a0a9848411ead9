"""What the keeper saw or did: one model for each kind of journal entry; docs/journal.md explains.

The models carry the shape of the API. ``at`` is RFC 3339 text there and epoch milliseconds here.
"""

from enum import StrEnum
from typing import Annotated, Literal, Self, get_args

from pydantic import (
    BeforeValidator,
    Field,
    PlainSerializer,
    StringConstraints,
    TypeAdapter,
    WithJsonSchema,
    model_validator,
)

from monitor.documents.base import TimeOfDay
from monitor.setup.models import Model
from monitor.times import parse_rfc3339, rfc3339

FIRST_YEAR_MS = 946_684_800_000  # 2000-01-01
LAST_YEAR_MS = 4_102_444_800_000  # 2100-01-01


def _instant(value: object) -> object:
    return parse_rfc3339(value) if isinstance(value, str) else value


At = Annotated[
    int,
    # The bounds catch seconds given for milliseconds.
    Field(strict=True, ge=FIRST_YEAR_MS, lt=LAST_YEAR_MS),
    BeforeValidator(_instant),
    PlainSerializer(rfc3339, return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
Note = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000)]


class Source(StrEnum):
    """Who wrote an entry."""

    KEEPER = "keeper"
    MISTER = "mister"
    IMPORT = "import"


class _Entry(Model):
    at_ms: At = Field(alias="at")
    """When it happened."""
    note: Note = ""
    """Anything else worth keeping."""


class Inspection(_Entry):
    """A look inside: what a probe cannot tell. Leave out what was not looked at."""

    kind: Literal["inspection"]
    mould_cover: int | None = Field(default=None, ge=0, le=5, strict=True)
    """Mould, from 0 (none) to 5 (all over)."""
    springtails_seen: bool | None = None
    isopods_seen: bool | None = None
    plants: Literal["standing", "wilting", "rooted"] | None = None

    @model_validator(mode="after")
    def _saw_something(self) -> Self:
        seen = (self.mould_cover, self.springtails_seen, self.isopods_seen, self.plants)
        if not self.note and all(value is None for value in seen):
            raise ValueError(
                "an empty inspection; give mould_cover, springtails_seen, isopods_seen, plants "
                "or a note"
            )
        return self


class Misted(_Entry):
    """Water was sprayed."""

    kind: Literal["misted"]
    seconds: float | None = Field(default=None, ge=0, le=86_400)
    """For how long; nothing while it runs, or when nobody knows."""


class Fed(_Entry):
    """The animal was offered food."""

    kind: Literal["fed"]


class Moult(_Entry):
    """The animal shed its skin."""

    kind: Literal["moult"]


class Maintenance(_Entry):
    """Work on the enclosure: cleaning, planting, a lamp changed."""

    kind: Literal["maintenance"]


class AnimalIn(_Entry):
    """The animal moved in."""

    kind: Literal["animal_in"]


class NotMisted(_Entry):
    """What looked like a misting at that time was none, or brought no water."""

    kind: Literal["not_misted"]


class MistingTime(Model):
    """One misting of a plan."""

    at: TimeOfDay
    """When, on the enclosure's own clock."""
    seconds: float = Field(gt=0, le=3_600)
    """For how long."""


MistingTimes = Annotated[tuple[MistingTime, ...], Field(max_length=96)]
"""The mistings of every day."""


class MistingPlan(_Entry):
    """From then on it is to be misted so; it holds until the next one."""

    kind: Literal["misting_plan"]
    times: MistingTimes
    """The mistings of every day; empty: none any more."""


class Remark(_Entry):
    """Anything that fits no other kind."""

    kind: Literal["note"]

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if not self.note:
            raise ValueError("an empty note; write what there is to say in `note`")
        return self


Entry = Annotated[
    Inspection | Misted | Fed | Moult | Maintenance | AnimalIn | NotMisted | MistingPlan | Remark,
    Field(discriminator="kind"),
]
"""Any journal entry, told apart by ``kind``."""

KINDS: tuple[str, ...] = tuple(
    get_args(model.model_fields["kind"].annotation)[0] for model in get_args(get_args(Entry)[0])
)
"""All kinds of entries."""

ENTRY: TypeAdapter[Entry] = TypeAdapter(Entry)
"""Validates and writes entries of every kind."""
