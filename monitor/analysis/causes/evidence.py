"""What the search for a cause is given, and what it answers."""

from dataclasses import dataclass
from enum import StrEnum
from zoneinfo import ZoneInfo

from monitor.analysis.courses import History

UTC = ZoneInfo("UTC")


class Side(StrEnum):
    """Which limit was crossed."""

    LOW = "low"
    HIGH = "high"


class CauseKind(StrEnum):
    """Why humidity fell. After a high alarm each word stands for its mirror image."""

    DRYING = "drying"
    """Water left the air (high: came into it)."""
    WARMING = "warming"
    """The air warmed (high: cooled); it holds the water it held."""
    MIXED = "mixed"
    """Both, and neither alone explains it."""
    ROOM = "room"
    """The air of the room did it."""
    PROBE = "probe"
    """The probe says what is not so."""
    SWING = "swing"
    """The usual daily course."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """All that is at hand when a humidity alarm is to be explained.

    ``target`` is the probe in alarm, ``others`` are those in the same enclosure's air (not in its
    substrate), ``room`` is the one outside. Eight days of history are best. ``since_ms`` is when
    the limit was crossed; nothing after ``now_ms`` is looked at. ``misted_ms`` are the starts of
    mistings that were reported, None where the mister reports nothing.
    """

    target: History
    since_ms: int
    now_ms: int
    limit: float
    side: Side = Side.LOW
    others: tuple[History, ...] = ()
    room: History | None = None
    misted_ms: tuple[int, ...] | None = None
    clock: ZoneInfo = UTC

    def __post_init__(self) -> None:
        if self.since_ms > self.now_ms:
            raise ValueError(f"since_ms {self.since_ms} must not lie after now_ms {self.now_ms}")


@dataclass(frozen=True, slots=True)
class Figure:
    """One number behind a cause."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Cause:
    """Why it happened, with what it rests on.

    ``could_be`` holds ``kind`` and every other cause the probes at hand cannot rule out.
    ``water_share`` is how much of what is unusual in ln RH is water (0 to 1; the rest is
    temperature), with its 80 % interval; None where the probe cannot be believed. ``check_first``
    is common practice, no source. ``reference`` says what the present was compared with.
    """

    kind: CauseKind
    could_be: tuple[CauseKind, ...]
    water_share: float | None
    water_share_low: float | None
    water_share_high: float | None
    figures: tuple[Figure, ...]
    check_first: tuple[str, ...]
    says: str
    reference: str
