"""The words of an alarm: condition, priority, state after IEC 62682 / ISA-18.2, one occurrence."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, Self

from monitor.quantities import Quantity
from monitor.setup.alarming import STALE_MS
from monitor.setup.models import Zone

DAEMON = "_daemon"
"""The place of what concerns dewkeep itself; no room or enclosure can have this id."""


class Condition(StrEnum):
    """What an alarm watches for."""

    LOW = "low"
    HIGH = "high"
    CRITICAL_LOW = "critical-low"
    CRITICAL_HIGH = "critical-high"
    SILENT = "silent"
    BROKER = "broker"
    RELAPSE = "relapse"


class Because(StrEnum):
    """Why an alarm calls nobody though its condition holds: by design, or by maintenance."""

    OUT_OF_SERVICE = "out_of_service"
    MAINTENANCE = "maintenance"
    LID_OPEN = "lid_open"
    MISTING = "misting"
    GRAVER = "graver"


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

    ``quantity`` is None for ``silent``, which concerns the whole probe; ``broker`` concerns the
    daemon itself, ``relapse`` an enclosure as a whole: these have no probe either.
    """

    place: str
    probe: str | None
    quantity: Quantity | None
    condition: Condition

    def __str__(self) -> str:
        return ".".join(part for part in self if part is not None)

    @classmethod
    def parse(cls, text: str) -> Self:
        """The point that ``str`` wrote.

        Raises:
            ValueError: the text names no point.
        """
        if text == str(BROKER):
            return cls(*BROKER)
        place, _, condition = text.partition(".")
        if place and condition == Condition.RELAPSE:
            return cls(*relapse_of(place))
        try:
            place, probe, *of, condition = text.split(".")
            (quantity,) = of or (None,)
            return cls(
                place, probe, None if quantity is None else Quantity(quantity), Condition(condition)
            )
        except ValueError as exc:
            raise ValueError(
                f"{text!r} names no point; write PLACE.PROBE.QUANTITY.CONDITION, "
                f"PLACE.PROBE.silent, PLACE.relapse or {BROKER}"
            ) from exc


BROKER = PointKey(DAEMON, None, None, Condition.BROKER)
"""The connection to the broker, without which nothing can be heard."""


def relapse_of(place: str) -> PointKey:
    """The point that stands for an enclosure which had settled and no longer is."""
    return PointKey(place, None, None, Condition.RELAPSE)


@dataclass(frozen=True, slots=True)
class Alarm:
    """One occurrence of an alarm, from its raising until it is normal again.

    ``id`` is the point and the milliseconds of its raising, so that the same readings always give
    the same id. ``value`` and ``limit`` are those at the raising, ``extreme`` is the worst value
    beyond the limit since the condition began. All times are epoch milliseconds UTC: those of
    readings on the readings' own time, those of ``silent`` and of a keeper's acts on the daemon's
    clock.
    """

    id: str
    point: PointKey
    zone: Zone | None
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
    suppressed_by: str | None = None
    """Who or what makes this alarm needless for now: the point of the graver alarm, or a keeper;
    None where a switch reported it."""
    withdrawn_at_ms: int | None = None
    """When the set-up stopped watching the point, if it did so before the alarm was over."""
    called_at_ms: int | None = None
    """When it last came to call for the keeper: at its raising, or as what silenced it ended."""
    recalls: int = 0
    """How often what a keeper did made it call anew: the end of a shelf, of maintenance."""
    suppressed_because: Because | None = None
    """Why it is suppressed or out of service, or last was."""
    group: str | None = None
    """The id of the first-out alarm that calls for this one too."""
    alone_from_ms: int | None = None
    """When it calls for itself, once the first-out alarm of its group is over."""
    chattering: bool = False
    """Whether its point was raised several times of late (``CHATTERING``)."""
    found: str | None = None
    """What an assessment found, in a sentence; for ``relapse`` alone."""

    @property
    def standing(self) -> bool:
        """Whether its condition holds (the off-delay included), whatever the keeper did."""
        return self.returned_at_ms is None and self.withdrawn_at_ms is None

    @property
    def over(self) -> bool:
        """Whether nothing about it can change any more."""
        return self.state is State.NORMAL and not self.standing

    @property
    def called(self) -> bool:
        """Whether it ever called for the keeper itself, not by the first-out alarm it is under."""
        return self.called_at_ms is not None and self.group is None

    @property
    def leads(self) -> bool:
        """Whether others like it may be grouped under it: it stands, and a keeper hears of it."""
        return self.standing and self.state in _HEARD_OF

    def stale(self, now_ms: int) -> bool:
        """Whether it has stood for so long that nobody looks at it any more."""
        return self.standing and now_ms - self.raised_at_ms > STALE_MS


_HEARD_OF = (State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.SHELVED)
