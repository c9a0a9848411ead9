"""What an assessment is made from: the readings, needs and journal of one build."""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from monitor.setup.journal import Entry, Inspection, Misted
from monitor.species.profile import DryOut
from monitor.species.ranges import Zone, ZoneRange

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Samples:
    """Good readings of one quantity in any order: raw, or means of up to five minutes."""

    at_ms: Ints
    value: Floats


@dataclass(frozen=True, slots=True)
class ProbeRecord:
    """What one probe told: Cel and %RH. A probe of the room has the zone ``room``."""

    id: str
    zone: Zone
    period_s: float
    temperature: Samples
    humidity: Samples


@dataclass(frozen=True, slots=True)
class Build:
    """One enclosure as it stands at ``at_ms``; what is later is not looked at.

    Readings from more than nine weeks back matter to the mould index alone.

    ``is_day`` tells day from night for an array of times, as ``Daylight.is_day`` does.
    ``built_on`` None: the first reading stands for the day it was built. ``ranges`` are those of
    :func:`monitor.setup.ranges.ranges_of`, ``dry_out`` those of the inhabitants' profiles. The
    ``has_`` flags say who lives there and therefore must be seen. ``was_settled``: the last verdict
    was ``settled``; then only a relapse undoes it.
    """

    at_ms: int
    clock: ZoneInfo
    is_day: Callable[[Ints], Bools]
    probes: Sequence[ProbeRecord]
    built_on: dt.date | None = None
    ranges: Mapping[Zone, ZoneRange] = field(default_factory=dict)
    dry_out: Sequence[DryOut] = ()
    journal: Sequence[Entry] = ()
    has_springtails: bool = True
    has_isopods: bool = True
    has_plants: bool = True
    was_settled: bool = False

    def looks(self) -> list[Inspection]:
        """The inspections up to now, oldest first."""
        looks = [each for each in self.journal if isinstance(each, Inspection)]
        return sorted((each for each in looks if each.at_ms <= self.at_ms), key=_at_ms)

    def mistings_ms(self) -> Ints:
        """When it was misted, up to now, in order."""
        times = (each.at_ms for each in self.journal if isinstance(each, Misted))
        return np.array(sorted(at_ms for at_ms in times if at_ms <= self.at_ms), dtype=np.int64)


def _at_ms(entry: Inspection) -> int:
    return entry.at_ms
