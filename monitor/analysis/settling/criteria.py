"""What an assessment says: criteria with their results, and the verdict."""

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

from monitor.quantities import Quantity
from monitor.species.ranges import Zone


class Verdict(StrEnum):
    """How far a build has come.

    ``collecting``: too few readings to judge its climate. ``unsettled``: something is in the way
    that time alone will not cure. ``settling``: only time, or a look, is missing. ``settled``: all
    criteria are met.
    """

    COLLECTING = "collecting"
    UNSETTLED = "unsettled"
    SETTLING = "settling"
    SETTLED = "settled"


class Result(StrEnum):
    """What became of a criterion."""

    PASS = "pass"  # noqa: S105 - no password
    FAIL = "fail"
    UNKNOWN = "unknown"


class Name(StrEnum):
    """The criteria, in the order they are told."""

    AGE = "age"
    COVERAGE = "coverage"
    TIME_IN_RANGE_DAY = "time_in_range_day"
    TIME_IN_RANGE_NIGHT = "time_in_range_night"
    EVENNESS = "evenness"
    STILL_TO_COME = "still_to_come"
    DAILY_CYCLE = "daily_cycle"
    RECOVERY = "recovery"
    STAGNATION = "stagnation"
    DRY_OUT = "dry_out"
    MOULD = "mould"
    SPRINGTAILS = "springtails"
    ISOPODS = "isopods"
    PLANTS = "plants"


@dataclass(frozen=True, slots=True)
class Criterion:
    """One thing a settled build must show.

    ``zone`` and ``quantity`` are None where it is about the whole enclosure. ``earliest`` is the
    day on which it could first pass if things go on as they do; None once it has passed, and where
    time alone will not do it. ``relapsed``: what is seen would undo a verdict of ``settled``.
    """

    name: Name
    zone: Zone | None
    quantity: Quantity | None
    value: float | None
    unit: str | None
    required: str
    result: Result
    says: str
    earliest: dt.date | None = None
    relapsed: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it has yet to pass."""
        return self.result is not Result.PASS


@dataclass(frozen=True, slots=True)
class Aside:
    """Something worth knowing that has no say in the verdict."""

    name: str
    zone: Zone
    value: float
    says: str


@dataclass(frozen=True, slots=True)
class Settling:
    """The assessment of one build at ``at_ms``.

    ``holds_it_up`` says what is in the way first, or what undid a settled build; None if nothing.
    ``earliest`` is the first day on which all could have passed, None where that cannot be told.
    """

    at_ms: int
    verdict: Verdict
    criteria: tuple[Criterion, ...]
    holds_it_up: str | None
    earliest: dt.date | None
    asides: tuple[Aside, ...] = ()

    @property
    def relapses(self) -> tuple[Criterion, ...]:
        """What would undo a verdict of ``settled``."""
        return tuple(each for each in self.criteria if each.relapsed)
