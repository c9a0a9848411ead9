"""The words of an alarm: condition, priority, state after IEC 62682 / ISA-18.2, one occurrence."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from monitor.quantities import Quantity
from monitor.setup.models import Zone


class Condition(StrEnum):
    """What an alarm watches for."""

    LOW = "low"
    HIGH = "high"
    CRITICAL_LOW = "critical-low"
    CRITICAL_HIGH = "critical-high"
    SILENT = "silent"


class Priority(StrEnum):
    """How soon a keeper must act: at once, today, when there is time."""

    CRITICAL = "critical"
    WARNING = "warning"
    ADVICE = "advice"


class State(StrEnum):
    """Alarm states of IEC 62682 (there lettered A to G)."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"


class PointKey(NamedTuple):
    """One thing that is watched: a quantity of a probe against one condition.

    ``quantity`` is None for ``silent``, which concerns the whole probe.
    """

    place: str
    probe: str
    quantity: Quantity | None
    condition: Condition

    def __str__(self) -> str:
        return ".".join(part for part in self if part is not None)


@dataclass(frozen=True, slots=True)
class Alarm:
    """One occurrence of an alarm, from its raising until it is normal again.

    ``id`` is ``POINT.EPOCH_SECONDS``, so that raising again from the same readings gives the same
    id. ``value`` and ``limit`` are those at the raising, ``extreme`` the worst value since. All
    times are epoch milliseconds UTC on the readings' own time (``silent``: the daemon's clock).
    """

    id: str
    point: PointKey
    zone: Zone
    priority: Priority
    state: State
    since_ms: int
    """When the condition began (the crossing), before the on-delay ran out."""
    raised_at_ms: int
    value: float | None
    limit: float | None
    extreme: float | None
    returned_at_ms: int | None = None
    acknowledged_at_ms: int | None = None
    acknowledged_by: str | None = None
    shelved_until_ms: int | None = None
    shelved_by: str | None = None
