"""What the pages are made from, once it has been looked up."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from monitor.alarms.model import Alarm
from monitor.setup.journal import Misted
from monitor.setup.models import Probe, Setup
from monitor.species.library import Library
from monitor.store.readings import Buckets, Latest, SeriesKey
from monitor.web.units import Units


class Past(NamedTuple):
    """The last day of one enclosure: the humidity of one probe, and the mistings."""

    probe: Probe
    humidity: Buckets
    mistings: Sequence[Misted]


class Explanation(NamedTuple):
    """Why an alarm was raised, and what to look at first."""

    says: str
    check_first: Sequence[str]


def by_place(alarms: Iterable[Alarm]) -> dict[str, list[Alarm]]:
    """Alarms by the place they are of: to look through all for each place takes long in a flood."""
    found: dict[str, list[Alarm]] = {}
    for alarm in alarms:
        found.setdefault(alarm.point.place, []).append(alarm)
    return found


@dataclass(frozen=True, slots=True)
class Known:
    """All that the room page is made from.

    ``alarms`` are those that are not over, ``of_place`` the same by the place they are of;
    ``explanations`` are by alarm and ``past`` by enclosure, where there are any; ``troubles`` says
    what ails dewkeep itself; ``units`` are those of whoever looks.
    """

    now_ms: int
    setup: Setup
    library: Library
    latest: Mapping[SeriesKey, Latest]
    alarms: Sequence[Alarm]
    explanations: Mapping[str, Explanation] = field(default_factory=dict)
    past: Mapping[str, Past] = field(default_factory=dict)
    troubles: Sequence[str] = ()
    units: Units = field(default_factory=Units)
    of_place: Mapping[str, Sequence[Alarm]] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "of_place", by_place(self.alarms))
