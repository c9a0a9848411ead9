"""Rehearsals over the store: which alarms a set-up would have raised, beside those that were."""

from collections.abc import Iterable, Iterator, Sequence

from monitor.alarms.model import Condition
from monitor.alarms.outcome import CHANGED, RAISED, UNCHANGED, Outcome
from monitor.alarms.reckoning import Judged, Surroundings, judge
from monitor.alarms.records import load_alarm
from monitor.alarms.rehearsal import LEAD_IN_MS, Part, Regime, Rehearsal, Switch, regimes, rehearse
from monitor.alarms.suppression import MISTER
from monitor.errors import NotFound
from monitor.quantities import MEASURED
from monitor.setup.alarming import AlarmSettings
from monitor.setup.daylight import EARLIEST_MS, Daylight
from monitor.setup.journal import Misted, Source
from monitor.setup.models import Enclosure
from monitor.setup.nights import nights_within
from monitor.species.library import Library
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms, journal, setup
from monitor.store.sqlite.state.journal import JournalRow
from monitor.times import DAY_MS, SECOND_MS

PART_MS = 32 * DAY_MS
"""So much is held in memory at once: three probes at 30 s make half a million readings."""
ALL = 1_000_000
"""More than there are alarms or mistings in any span."""


class Rehearser:
    """Runs rehearsals; reads only, from any thread."""

    def __init__(
        self,
        database: Database,
        readings: ReadingStore,
        library: Library,
        settings: AlarmSettings,
    ) -> None:
        self._database = database
        self._readings = readings
        self._library = library
        self._settings = settings

    def outcome(
        self,
        enclosure_id: str,
        start_ms: int,
        end_ms: int,
        now_ms: int,
        changed: Enclosure | None = None,
    ) -> Outcome:
        """Run the set-up in force, and a changed one if it is given, from start up to end.

        What is not past yet, and what lies before 1970, is left out of the span.

        Raises:
            NotFound: no such enclosure, or no profile of a species in it.
        """
        start_ms = max(start_ms, EARLIEST_MS + LEAD_IN_MS)
        end_ms = max(min(end_ms, now_ms), start_ms)
        with self._database.reading() as connection:
            place = setup.get(connection, enclosure_id).place
            if not isinstance(place, Enclosure):
                raise NotFound(f"{enclosure_id!r} is a room; rehearse an enclosure in it")
            kept = alarms.page(
                connection, place=enclosure_id, since_ms=start_ms, until_ms=end_ms, limit=ALL
            )
            misted = journal.page(
                connection,
                enclosure_id,
                kinds=["misted"],
                since_ms=start_ms - DAY_MS,
                until_ms=end_ms,
                limit=ALL,
            )
        nights = nights_within(place, start_ms, end_ms)
        misted_ms = sorted(row.entry.at_ms for row in misted)

        def around(by: Enclosure, heard: frozenset[str]) -> Surroundings:
            return Surroundings(nights, _switches(by, start_ms, end_ms), misted_ms, heard, end_ms)

        switches = list(_reported(misted))
        rules, run = self._run(place, switches, start_ms, end_ms)
        # A rehearsal does not judge builds.
        loaded = (load_alarm(row.body) for row in reversed(kept))
        recorded = [each for each in loaded if each.point.condition is not Condition.RELAPSE]
        sets: dict[str, list[Judged]] = {
            RAISED: judge(recorded, around(place, run.heard)),
            UNCHANGED: judge(run.raised, around(place, run.heard)),
        }
        asked = place
        if changed is not None:
            asked = changed
            rules, run = self._run(changed, switches, start_ms, end_ms)
            sets[CHANGED] = judge(run.raised, around(changed, run.heard))
        return Outcome(
            enclosure=place,
            changed=changed,
            start_ms=start_ms,
            end_ms=end_ms,
            nights=nights,
            sets=sets,
            readings=run.readings,
            first_ms=run.first_ms,
            unheard=[probe.id for probe in asked.probe if probe.id not in run.heard],
            watched=any(regime.rules.limits for regime in rules),
        )

    def _run(
        self, enclosure: Enclosure, switches: Sequence[Switch], start_ms: int, end_ms: int
    ) -> tuple[list[Regime], Rehearsal]:
        begin_ms = start_ms - LEAD_IN_MS
        rules = regimes(enclosure, self._library, self._settings, begin_ms, end_ms)
        return rules, rehearse(rules, self._parts(enclosure, begin_ms, end_ms), start_ms, switches)

    def _parts(self, enclosure: Enclosure, begin_ms: int, end_ms: int) -> Iterator[Part]:
        known = self._readings.known_series()
        keys = [
            key
            for probe in enclosure.probe
            for quantity in MEASURED
            if (key := SeriesKey(enclosure.id, probe.id, quantity)) in known
        ]
        while begin_ms < end_ms:
            upto_ms = min(begin_ms + PART_MS, end_ms)
            yield Part(upto_ms, {key: self._readings.track(key, begin_ms, upto_ms) for key in keys})
            begin_ms = upto_ms


def _reported(misted: Iterable[JournalRow]) -> Iterator[Switch]:
    """What the mister reported; what a keeper wrote down excuses no alarm."""
    for row in misted:
        if isinstance(row.entry, Misted) and row.source is Source.MISTER:
            yield row.place, MISTER, row.entry.at_ms, True
            if row.entry.seconds is not None:
                end_ms = row.entry.at_ms + round(SECOND_MS * row.entry.seconds)
                yield row.place, MISTER, end_ms, False


def _switches(enclosure: Enclosure, start_ms: int, end_ms: int) -> list[int]:
    """When the lamp timer switched, from a day before the span on."""
    lamp = Daylight(enclosure.lights_on, enclosure.lights_off, enclosure.zone_info)
    switches: list[int] = lamp.segments(start_ms - DAY_MS, end_ms).edge_ms.tolist()
    return switches
