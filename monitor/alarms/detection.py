"""How one limit turns readings into an alarm: on-delay, deadband, off-delay, on the readings' time.

                 beyond                still beyond after the on-delay
      (normal) ----------> pending ----------------------------------> standing
         ^                    |                                        |      ^
         |  no longer beyond  |                             clear      |      | not clear
         +--------------------+                                        v      |
         +---------------------------------------------------------- clearing
                         still clear after the off-delay

A delay runs from reading to reading: from the first one beyond the limit to the first one at or
after the end of the delay, each up to one reading period late. As in OPC 10000-9 (5.8 and the
example of B.1.5: OnDelay, OffDelay, AlarmDeadband) the value must stay beyond the limit for all of
the on-delay, so the first reading that is not drops a pending condition; the deadband counts for
clearing alone, and a value must stay clear for all of the off-delay.

A pause in the readings does not stop a delay. Both readings around it are beyond the limit, and to
wait anew would keep an alarm from ever being raised for a probe that only comes through now and
then. But nobody saw what happened meanwhile: an alarm that is raised by the first reading after a
pause longer than ``Limit.gap_ms`` is dated from that reading.
"""

from bisect import bisect_left
from collections.abc import Sequence
from enum import IntEnum, StrEnum
from typing import NamedTuple

from monitor.alarms.model import Priority
from monitor.alarms.rules import Limit


class Phase(StrEnum):
    """Where a point is, when it is not simply normal."""

    PENDING = "pending"
    STANDING = "standing"
    CLEARING = "clearing"


class PointMemory(NamedTuple):
    """All that is remembered of a point between readings; a normal point has no memory.

    ``since_ms`` is when the point entered its phase, ``extreme`` the worst value beyond the limit
    since the condition began (None for ``silent``, which has no values).
    """

    phase: Phase
    since_ms: int
    extreme: float | None = None


class Kind(IntEnum):
    """What a reading can do to a point that others must know of."""

    WORSE = 0
    RETURNED = 1
    RAISED = 2


class Signal(NamedTuple):
    """A condition was raised, got worse or returned, by the reading of ``at_ms``.

    ``level`` is the limit that held at that time, ``since_ms`` when the condition began (for
    other signals than raised: the time of the reading), ``extreme`` its worst value so far.
    """

    kind: Kind
    limit: Limit
    at_ms: int
    value: float
    level: float
    since_ms: int
    extreme: float

    @property
    def rank(self) -> int:
        """Its place among the signals of one reading.

        Graver conditions are raised before, and return after, those they eclipse, so that the
        lesser alarm is never unveiled for no time at all.
        """
        grave = self.limit.priority is Priority.CRITICAL
        return 2 * self.kind + (grave if self.kind is Kind.RETURNED else not grave)


class Columns(NamedTuple):
    """Readings to walk through: of one series after the other, each in order of time.

    ``beyond`` lists the indexes of those that are beyond any limit of their series.
    """

    at_ms: Sequence[int]
    value: Sequence[float]
    day: Sequence[bool]
    beyond: Sequence[int]


def advance(
    limit: Limit,
    memory: PointMemory | None,
    at_ms: int,
    value: float,
    day: bool,
    previous_ms: int,
) -> tuple[PointMemory | None, Signal | None]:
    """What one reading makes of a point: its new memory, and the signal if there is one.

    ``previous_ms`` is the time of the reading before it in the same series.
    """
    level = limit.level[day]
    beyond = value > level if limit.upper else value < level
    if memory is None:
        if not beyond:
            return None, None
        memory = PointMemory(Phase.PENDING, at_ms, value)
    phase, since_ms, extreme = memory
    if extreme is None or (beyond and (value > extreme if limit.upper else value < extreme)):
        extreme = value

    if phase is Phase.PENDING:
        if not beyond:
            return None, None
        if at_ms - since_ms < limit.on_delay_ms:
            return PointMemory(phase, since_ms, extreme), None
        if at_ms - previous_ms > limit.gap_ms:
            since_ms = at_ms
        signal = Signal(Kind.RAISED, limit, at_ms, value, level, since_ms, extreme)
        return PointMemory(Phase.STANDING, at_ms, extreme), signal

    clear = value <= limit.clear[day] if limit.upper else value >= limit.clear[day]
    if clear:
        began_ms = since_ms if phase is Phase.CLEARING else at_ms
        if at_ms - began_ms >= limit.off_delay_ms:
            return None, Signal(Kind.RETURNED, limit, at_ms, value, level, at_ms, extreme)
        return PointMemory(Phase.CLEARING, began_ms, extreme), None
    if phase is Phase.CLEARING:
        since_ms = at_ms
    after = PointMemory(Phase.STANDING, since_ms, extreme)
    if extreme != memory.extreme:
        return after, Signal(Kind.WORSE, limit, at_ms, value, level, at_ms, extreme)
    return after, None


def walk(
    limits: Sequence[Limit],
    memories: list[PointMemory | None],
    columns: Columns,
    start: int,
    end: int,
    previous_ms: int,
) -> list[tuple[int, Signal]]:
    """Lead the points of one series through its readings, ``start`` up to ``end`` of the columns.

    ``memories`` belong to ``limits``, one each, and are brought up to date in place. Gives the
    signals, each with the index of its reading. While no point has a memory only a reading beyond
    a limit can change anything, so the walk leaps to the next one.
    """
    signals = []
    at_ms, value, day, beyond = columns
    i = start
    while i < end:
        if not any(memories):
            leap = bisect_left(beyond, i)
            if leap == len(beyond) or beyond[leap] >= end:
                break
            i = beyond[leap]
        before_ms = at_ms[i - 1] if i > start else previous_ms
        for n, limit in enumerate(limits):
            memories[n], signal = advance(limit, memories[n], at_ms[i], value[i], day[i], before_ms)
            if signal is not None:
                signals.append((i, signal))
        i += 1
    return signals
