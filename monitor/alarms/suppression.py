"""What keeps alarms quiet by design: maintenance, an open lid, a misting, a probe out of service.

A suppression has a scope, a beginning and, but for a probe out of service, an end. What a keeper
says covers alarms that stand already; what a switch in the enclosure reports excuses only those
raised after it, for it cannot be the cause of older ones. No scope but out of service holds a
critical alarm: the animal's limits do not wait for a keeper to finish, or to remember.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from monitor.alarms.model import Alarm, Because, Condition, PointKey
from monitor.quantities import Quantity

MISTER = "mister"
SWITCHES = {"lid": Because.LID_OPEN, MISTER: Because.MISTING}
"""What a switch of an enclosure means while it is on, by its name on the wire."""

_RANGE = (Condition.LOW, Condition.HIGH)
_AIR = (Quantity.TEMPERATURE, Quantity.SURFACE_TEMPERATURE, Quantity.HUMIDITY)

SCOPES: dict[Because, Callable[[PointKey], bool]] = {
    Because.OUT_OF_SERVICE: lambda _: True,
    Because.MAINTENANCE: lambda point: point.condition in (*_RANGE, Condition.SILENT),
    Because.LID_OPEN: lambda point: point.condition in _RANGE and point.quantity in _AIR,
    Because.MISTING: lambda point: (
        point.condition is Condition.HIGH and point.quantity is Quantity.HUMIDITY
    ),
}
"""Which points of its place, or of its probe, a suppression holds."""


@dataclass(frozen=True, slots=True)
class Suppression:
    """One reason for quiet, in one place; all times are epoch milliseconds UTC.

    A keeper's times are on the daemon's clock, those of a switch on its own. ``probe`` is given for
    ``out_of_service`` alone, which has no end. ``reported_ms`` is when a switch was last reported,
    None if a keeper said it; ``on`` is what it was then.
    """

    place: str
    because: Because
    since_ms: int
    until_ms: int | None
    by: str | None = None
    why: str = ""
    probe: str | None = None
    reported_ms: int | None = None
    on: bool = False

    @property
    def key(self) -> str:
        """Tells it from all others in force; a newer one takes its place."""
        return key_of(self.place, self.because, self.probe, switch=self.reported_ms is not None)

    def covers(self, alarm: Alarm, at_ms: int, now_ms: int) -> bool:
        """Whether it holds an alarm of its place and probe.

        ``at_ms`` is what is reached on the readings' time, ``now_ms`` on the daemon's clock.
        """
        if not SCOPES[self.because](alarm.point):
            return False
        if self.until_ms is None:
            return True
        if self.reported_ms is None:
            return now_ms < self.until_ms
        return self.since_ms < alarm.raised_at_ms and at_ms < self.until_ms

    def over(self, now_ms: int, settle_ms: int) -> bool:
        """Whether it can be forgotten.

        That of a switch is kept until a further report would be taken for a new beginning.
        """
        if self.until_ms is None or now_ms < self.until_ms:
            return False
        return self.reported_ms is None or not self.on or now_ms > self.reported_ms + settle_ms


def key_of(place: str, because: Because, probe: str | None = None, *, switch: bool = False) -> str:
    """The key of a suppression."""
    parts = (place, probe, because.value, "switch" if switch else None)
    return ".".join(part for part in parts if part is not None)


def switched(
    before: Suppression | None,
    place: str,
    because: Because,
    at_ms: int,
    *,
    on: bool,
    settle_ms: int,
) -> Suppression | None:
    """What the report of a switch makes of its suppression, None for nothing.

    It lasts from the first report of on until ``settle_ms`` after the report of off. A switch that
    stays on is excused for ``settle_ms`` and no longer, however often it says so: then the mister
    is stuck, or the lid was left open. One that comes on again before that is over prolongs it, up
    to twice ``settle_ms`` in all. A report older than the last one changes nothing.
    """
    if before is None or before.reported_ms is None or before.until_ms is None:
        fresh = Suppression(place, because, at_ms, at_ms + settle_ms, reported_ms=at_ms, on=True)
        return fresh if on else None
    if at_ms <= before.reported_ms:
        return before
    # An on so long after the last one is a new one, whose off was lost in between.
    repeated = on is before.on and not (on and at_ms - before.reported_ms > settle_ms)
    after = replace(before, reported_ms=at_ms, on=on)
    if repeated:
        return after
    if at_ms < before.until_ms:
        return replace(after, until_ms=min(at_ms, before.since_ms + settle_ms) + settle_ms)
    return replace(after, since_ms=at_ms, until_ms=at_ms + settle_ms) if on else after


def held_by(
    suppressions: Mapping[str, Suppression], alarm: Alarm, at_ms: int, now_ms: int
) -> Suppression | None:
    """The suppression that holds an alarm, what weighs most first."""
    place, probe, _, _ = alarm.point
    for key in (
        key_of(place, Because.OUT_OF_SERVICE, probe),
        key_of(place, Because.MAINTENANCE),
        key_of(place, Because.LID_OPEN),
        key_of(place, Because.LID_OPEN, switch=True),
        key_of(place, Because.MISTING, switch=True),
    ):
        found = suppressions.get(key)
        if found is not None and found.covers(alarm, at_ms, now_ms):
            return found
    return None
