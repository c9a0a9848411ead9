"""Has it settled? The readings, journal and inhabitants of an enclosure, put before the judge."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.analysis.settling import Build, ProbeRecord, Samples, Settling, Verdict, assess
from monitor.errors import NotFound
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Probe, Room
from monitor.setup.ranges import ranges_of
from monitor.setup.settling import Limits, limits_of
from monitor.species.library import Library
from monitor.species.profile import Crew, Kind
from monitor.species.settling import SettlingLimits
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.rows import VerdictRow
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import journal, setup, verdicts
from monitor.times import DAY_MS, rfc3339

DAYS = 63
"""By the usual limits no criterion looks further back (docs/settling.md)."""
ENTRIES = 10_000


@dataclass(frozen=True, slots=True)
class Assessed:
    """An assessment with what it was made from.

    ``history`` are the verdicts on this build remembered before it, oldest first.
    """

    enclosure: Enclosure
    build: Build
    limits: Limits
    settling: Settling
    history: Sequence[VerdictRow]

    @property
    def last(self) -> VerdictRow | None:
        """The verdict remembered last."""
        return self.history[-1] if self.history else None

    @property
    def has_settled(self) -> bool:
        """Whether any verdict before this one was that the build has settled."""
        return any(row.verdict == Verdict.SETTLED for row in self.history)

    @property
    def before(self) -> Verdict:
        """The verdict before this one; a build begins as ``collecting``."""
        return Verdict.COLLECTING if self.last is None else Verdict(self.last.verdict)


class Assessor:
    """Assesses builds; reads only, from any thread. ``given`` are the limits of the settings."""

    def __init__(
        self,
        database: Database,
        readings: ReadingStore,
        library: Library,
        given: Mapping[str, float],
    ) -> None:
        self._database = database
        self._readings = readings
        self._library = library
        self._given = given

    def assess(self, enclosure_id: str, at_ms: int) -> Assessed:
        """How far an enclosure has come as of a time.

        Raises:
            NotFound: no such enclosure is set up, or an inhabitant has no profile.
        """
        with self._database.reading() as connection:
            place = setup.get(connection, enclosure_id).place
            if not isinstance(place, Enclosure):
                raise NotFound(f"{enclosure_id!r} is a room; only enclosures settle")
            room = setup.get(connection, place.room).place if place.room else None
            entries = journal.page(
                connection,
                enclosure_id,
                kinds=["inspection", "misted"],
                until_ms=at_ms + 1,
                limit=ENTRIES,
            )
            history = verdicts.history(connection, enclosure_id, place.built_on, at_ms)
        limits = limits_of(place, self._library, self._given)
        profiles = [self._library.profile(each.species) for each in place.inhabitant]
        crews = {profile.crew for profile in profiles}
        owners = (place, room) if isinstance(room, Room) else (place,)
        build = Build(
            at_ms=at_ms,
            clock=place.zone_info,
            is_day=Daylight(place.lights_on, place.lights_off, place.zone_info).is_day,
            probes=[
                self._record(each.id, probe, at_ms - _days(limits.values) * DAY_MS, at_ms)
                for each in owners
                for probe in each.probe
            ],
            built_on=place.built_on,
            ranges=ranges_of(
                place,
                self._library,
                dt.datetime.fromtimestamp(at_ms / 1000, place.zone_info).date(),
            ),
            dry_out=[profile.dry_out for profile in profiles if profile.dry_out is not None],
            journal=[row.entry for row in entries],
            has_springtails=Crew.SPRINGTAILS in crews,
            has_isopods=Crew.ISOPODS in crews,
            has_plants=any(profile.kind is Kind.PLANT for profile in profiles),
            was_settled=bool(history) and history[-1].verdict == Verdict.SETTLED,
        )
        return Assessed(place, build, limits, assess(build, limits.values), history)

    def _record(self, place: str, probe: Probe, start_ms: int, at_ms: int) -> ProbeRecord:
        def good(quantity: Quantity) -> Samples:
            track = self._readings.track(SeriesKey(place, probe.id, quantity), start_ms, at_ms + 1)
            kept = np.flatnonzero(track.reason == Reason.OK)
            return Samples(track.at_ms[kept], track.value[kept])

        return ProbeRecord(
            probe.id,
            probe.zone,
            probe.period_s,
            good(Quantity.TEMPERATURE),
            good(Quantity.HUMIDITY),
        )


def _days(limits: SettlingLimits) -> int:
    """How far back readings matter: whole days, and the one that has begun."""
    return max(DAYS, limits.longest_even_days + limits.running_days + 1)


def wire(assessed: Assessed) -> dict[str, object]:
    """The assessment as the API gives it."""
    settling, last = assessed.settling, assessed.last
    return {
        "enclosure": assessed.enclosure.id,
        "at": rfc3339(settling.at_ms),
        "verdict": settling.verdict.value,
        "criteria": [
            {
                "name": each.name.value,
                "zone": each.zone,
                "quantity": each.quantity,
                "value": None if each.value is None else round(each.value, 4),
                "unit": each.unit,
                "required": each.required,
                "result": each.result.value,
                "says": each.says,
                "earliest": _day(each.earliest),
            }
            for each in settling.criteria
        ],
        "holds_it_up": settling.holds_it_up,
        "earliest": _day(settling.earliest),
        "asides": [
            {"name": each.name, "zone": each.zone, "value": round(each.value, 2), "says": each.says}
            for each in settling.asides
        ],
        "limits": {
            name: {"value": value, "from": assessed.limits.origin[name]}
            for name, value in assessed.limits.values.model_dump().items()
        },
        "remembered": last
        and {
            "verdict": last.verdict,
            "since": rfc3339(last.since_ms),
            "at": rfc3339(last.at_ms),
        },
    }


def _day(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()
