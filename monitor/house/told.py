"""What one daemon tells the others of what it watches: the words of ``GET /api/v1/house/own``.

Times are RFC 3339 text outside and epoch milliseconds UTC inside; temperatures are in °C.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    StringConstraints,
    WithJsonSchema,
)

from monitor.alarms.model import Because, Condition, Priority, State
from monitor.documents.base import Identifier, Name
from monitor.quality import Quality, Reason
from monitor.quantities import Quantity
from monitor.setup.models import Zone
from monitor.setup.share import ShareSettings
from monitor.setup.timezones import TimeZone
from monitor.times import parse_rfc3339, rfc3339

YEAR_9000_MS = 221_845_392_000_000
"""In any time zone it can be written as a date."""


def _instant(value: object) -> object:
    return parse_rfc3339(value) if isinstance(value, str) else value


def _reason(value: object) -> object:
    return Reason.__members__.get(value.upper(), value) if isinstance(value, str) else value


Instant = Annotated[
    int,
    Field(strict=True, ge=0, lt=YEAR_9000_MS),
    BeforeValidator(_instant),
    PlainSerializer(rfc3339, return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "format": "date-time"}),
]
WhyInDoubt = Annotated[
    Reason,
    BeforeValidator(_reason),
    PlainSerializer(lambda reason: reason.name.lower(), return_type=str, when_used="json"),
    WithJsonSchema({"type": "string", "enum": [reason.name.lower() for reason in Reason]}),
]
Part = Literal["loop", "broker", "store", "channels"]
"""A part of a daemon, as `/readyz` names it."""
Says = Annotated[str, StringConstraints(max_length=4000)]


class Word(BaseModel):
    """Base of all that is told; what a newer daemon tells beyond it is left aside."""

    model_config = ConfigDict(
        extra="ignore",
        frozen=True,
        allow_inf_nan=False,
        use_attribute_docstrings=True,
        hide_input_in_errors=True,
    )


class ValueTold(Word):
    """The newest value of one quantity."""

    quantity: Quantity
    value: float
    unit: str
    at: Instant
    quality: Quality
    reason: WhyInDoubt
    """Why it has this quality."""


class ProbeTold(Word):
    """One probe: its place, and what it measured last."""

    probe: Identifier
    zone: Zone
    silent_after_s: Annotated[float, Field(gt=0)]
    """Seconds after which a value is old."""
    values: tuple[ValueTold, ...] = ()
    """None of a quantity that was never heard."""


class AlarmTold(Word):
    """An alarm that is not over."""

    id: str
    probe: Identifier | None
    zone: Zone | None
    quantity: Quantity | None
    condition: Condition
    priority: Priority
    state: State
    since: Instant
    raised_at: Instant
    returned_at: Instant | None
    withdrawn_at: Instant | None
    acknowledged_at: Instant | None
    acknowledged_by: Says | None
    shelved_until: Instant | None
    suppressed_because: Because | None
    value: float | None
    limit: float | None
    says: Says
    """The alarm in a sentence, times by the clock of its place."""
    cause: Says | None
    """Why, in a sentence, where it is known."""


class PlaceTold(Word):
    """One enclosure, or one room with probes of its own."""

    id: Identifier
    kind: Literal["enclosure", "room"]
    name: Name
    timezone: TimeZone
    """That of its clock."""
    alarms: tuple[AlarmTold, ...] = ()
    probes: tuple[ProbeTold, ...] = ()


class TroubleTold(Word):
    """A part of a daemon that cannot do its work."""

    part: Part
    says: Says


class Told(Word):
    """All that one daemon watches, and how it does itself; of others it says nothing."""

    daemon: Identifier
    """Its `broker.client_id`."""
    version: Annotated[str, StringConstraints(max_length=40)]
    at: Instant
    share: ShareSettings
    """What it watches, as its settings have it."""
    troubles: tuple[TroubleTold, ...] = ()
    places: tuple[PlaceTold, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """One peer as it is known now: its last answer, and why there is no newer one."""

    name: str
    url: str
    answers: bool
    """Whether its last answer is recent enough to go by."""
    told: Told | None = None
    answered_ms: int | None = None
    """When that answer came, by our clock."""
    why_not: str | None = None
    """Why it did not answer when it was last asked."""
