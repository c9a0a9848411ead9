"""Misting looked up and assessed: readings, journal and set-up of an enclosure put together."""

import datetime as dt
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

import numpy as np

from monitor.analysis.misting import (
    Assessment,
    Climate,
    FollowUp,
    Futures,
    Goal,
    Limits,
    Misting,
    Prediction,
    Proposal,
    Reported,
    Schedule,
    Source,
    Span,
    Spray,
    Taken,
    assess,
    find,
    follow_up,
    predict,
)
from monitor.analysis.misting.assessment import DAYS
from monitor.analysis.misting.calendar import calendar
from monitor.analysis.misting.followup import BEFORE_DAYS
from monitor.analysis.misting.wire import assessment_wire, follow_up_wire, goal_wire
from monitor.errors import Conflict, NotFound
from monitor.quality import FIRST_BAD
from monitor.quantities import Quantity
from monitor.setup import journal as entries
from monitor.setup.daylight import Daylight
from monitor.setup.mister import Mister
from monitor.setup.models import Enclosure, Probe, Room
from monitor.setup.ranges import ranges_of
from monitor.species.library import Library
from monitor.species.ranges import AMBIENT
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import journal, setup
from monitor.store.sqlite.state.journal import JournalRow
from monitor.times import DAY_MS

ENTRIES = 20_000
KEPT = 16
"""Assessments that are remembered: each takes seconds, and page and calendar ask for the same."""


@dataclass(frozen=True, slots=True, eq=False)
class MistingReport:
    """Everything about the misting of one enclosure as of a time.

    ``probe`` is the one it was judged by, None if the enclosure has none in its air; ``goal`` is
    None where no range of humidity is known there.
    """

    enclosure: Enclosure
    probe: Probe | None
    goal: Goal | None
    limits: Limits
    assessment: Assessment
    follow_up: FollowUp | None

    def proposal(self, number: int) -> Proposal:
        """One of the plans, counted from 1.

        Raises:
            Conflict: there is no plan; it says why.
            NotFound: there are fewer.
        """
        found = self.assessment
        proposals = () if found.plan is None else found.plan.proposals
        if not proposals:
            why = found.cannot or found.plan_cannot or (found.plan and found.plan.infeasible)
            raise Conflict(f"there is no plan for {self.enclosure.id!r}, because {why}")
        if not 1 <= number <= len(proposals):
            raise NotFound(f"there is no plan {number}; there are {len(proposals)}")
        return proposals[number - 1]

    def calendar(self, number: int, now_ms: int) -> str:
        """One of the plans as an iCalendar stream, from tomorrow on.

        Raises:
            Conflict, NotFound: as ``proposal`` does.
        """
        place, proposal = self.enclosure, self.proposal(number)
        today = dt.datetime.fromtimestamp(now_ms / 1000, place.zone_info).date()
        return calendar(
            proposal.schedule,
            place.id,
            place.name,
            place.zone_info,
            today + dt.timedelta(days=1),
            now_ms,
        )

    def predict(self, schedule: Schedule) -> Prediction | None:
        """What any schedule would give; None where the assessment cannot tell."""
        if self.assessment.model is None or self.goal is None:
            return None
        return predict(Futures(self.assessment.model), schedule, self.goal, self.limits)


class MistingDesk:
    """Assesses misting on request, one enclosure at a time, and remembers; from any thread."""

    def __init__(self, database: Database, readings: ReadingStore, library: Library) -> None:
        self._database = database
        self._readings = readings
        self._library = library
        self._lock = threading.Lock()
        self._known: OrderedDict[tuple[object, ...], MistingReport] = OrderedDict()

    def report(self, enclosure_id: str, at_ms: int, probe_id: str | None = None) -> MistingReport:
        """The misting of an enclosure as of a time, by its best probe or the one that is named.

        Raises:
            NotFound: no such enclosure or probe, or an inhabitant has no profile.
        """
        asked = self._asked(enclosure_id, at_ms, probe_id)
        key = (asked.place.model_dump_json(), at_ms, probe_id, *(row.id for row in asked.rows))
        with self._lock:
            if key not in self._known:
                self._known[key] = self._report(asked)
            self._known.move_to_end(key)
            while len(self._known) > KEPT:
                self._known.popitem(last=False)
            return self._known[key]

    def mistings(
        self, enclosure_id: str, at_ms: int, probe_id: str | None = None
    ) -> tuple[Misting, ...]:
        """What was reported and what the air shows, without the rest of the assessment.

        Raises:
            NotFound: as ``report`` does.
        """
        asked = self._asked(enclosure_id, at_ms, probe_id)
        climate = Climate.empty()
        if asked.probe is not None:
            climate = self._climate(asked.place.id, asked.probe, at_ms - DAYS * DAY_MS, at_ms)
        return find(climate, asked.reported(), asked.daylight, asked.rejected()).mistings

    def _asked(self, enclosure_id: str, at_ms: int, probe_id: str | None) -> "_Asked":
        with self._database.reading() as connection:
            place = setup.get(connection, enclosure_id).place
            if not isinstance(place, Enclosure):
                raise NotFound(f"{enclosure_id!r} is a room; only enclosures are misted")
            room = setup.get(connection, place.room).place if place.room else None
            rows = journal.page(
                connection,
                enclosure_id,
                kinds=["misted", "not_misted", "misting_plan"],
                until_ms=at_ms + 1,
                limit=ENTRIES,
            )
        goals = self._goals(place, at_ms)
        probe = self._probe(place, goals, at_ms, probe_id)
        goal = None if probe is None else goals.get(probe.id)
        return _Asked(place, room if isinstance(room, Room) else None, probe, goal, rows, at_ms)

    def _report(self, asked: "_Asked") -> MistingReport:
        place, probe, at_ms = asked.place, asked.probe, asked.at_ms
        limits = _limits(place.mister or Mister())
        if probe is None:
            cannot = "no probe hangs in the air of this enclosure; set one up"
            return MistingReport(place, None, None, limits, Assessment(at_ms, cannot), None)
        start_ms = at_ms - (DAYS + 1) * DAY_MS
        assessment = assess(
            self._climate(place.id, probe, start_ms, at_ms),
            self._room(asked.room, start_ms, at_ms),
            asked.reported(),
            asked.daylight,
            at_ms,
            asked.goal,
            limits,
            volume_l=place.volume_l,
            rejected=asked.rejected(),
        )
        return MistingReport(
            place, probe, asked.goal, limits, assessment, self._follow_up(asked, probe)
        )

    def _follow_up(self, asked: "_Asked", probe: Probe) -> FollowUp | None:
        taken = asked.taken()
        if taken is None or asked.goal is None:
            return None
        start_ms = taken.at_ms - (BEFORE_DAYS + 1) * DAY_MS
        return follow_up(
            self._climate(asked.place.id, probe, start_ms, asked.at_ms),
            self._room(asked.room, start_ms, asked.at_ms),
            asked.daylight,
            taken,
            asked.goal,
            asked.at_ms,
        )

    def _goals(self, place: Enclosure, at_ms: int) -> dict[str, Goal]:
        """What the air should keep to at each probe for which a range of humidity is known."""
        today = dt.datetime.fromtimestamp(at_ms / 1000, place.zone_info).date()
        ranges = ranges_of(place, self._library, today)
        needs = [
            profile.dry_out
            for profile in (self._library.profile(each.species) for each in place.inhabitant)
            if profile.dry_out is not None
        ]
        # What serves the most demanding serves all.
        dry_below = min((need.below for need in needs), default=100.0)
        dry_hours = max((need.hours_a_day for need in needs), default=0.0)
        goals = {}
        for probe in place.probe:
            wanted = ranges.get(probe.zone)
            if wanted is None:
                continue
            day = wanted.day.humidity or wanted.night.humidity
            night = wanted.night.humidity or wanted.day.humidity
            if day is not None and night is not None:
                goals[probe.id] = Goal(
                    Span(max(day.low, 0.0), min(day.high, 100.0)),
                    Span(max(night.low, 0.0), min(night.high, 100.0)),
                    dry_below,
                    dry_hours,
                )
        return goals

    def _probe(
        self, place: Enclosure, goals: dict[str, Goal], at_ms: int, probe_id: str | None
    ) -> Probe | None:
        """The probe that is named, else of those in the air the one that knows most and matters."""
        if probe_id is not None:
            for probe in place.probe:
                if probe.id == probe_id:
                    return probe
            known = ", ".join(probe.id for probe in place.probe) or "none"
            raise NotFound(f"{place.id!r} has no probe {probe_id!r}; known: {known}")
        airy = [probe for probe in place.probe if probe.zone in AMBIENT]

        def known_ms(probe: Probe) -> float:
            key = SeriesKey(place.id, probe.id, Quantity.HUMIDITY)
            track = self._readings.track(key, at_ms - DAYS * DAY_MS, at_ms)
            return len(track) * probe.period_s

        return max(
            airy,
            key=lambda probe: (probe.id in goals, round(known_ms(probe) / 86_400.0)),
            default=None,
        )

    def _room(self, room: Room | None, start_ms: int, end_ms: int) -> Climate | None:
        if room is None:
            return None
        climates = (self._climate(room.id, probe, start_ms, end_ms) for probe in room.probe)
        return next((climate for climate in climates if len(climate)), None)

    def _climate(self, place: str, probe: Probe, start_ms: int, end_ms: int) -> Climate:
        temperature, humidity = (
            self._readings.track(SeriesKey(place, probe.id, quantity), start_ms, end_ms)
            for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
        )
        at_ms, first, second = np.intersect1d(
            temperature.at_ms, humidity.at_ms, assume_unique=True, return_indices=True
        )
        # A jump may be a misting, and a value that stands still may be saturation.
        usable = np.maximum(temperature.reason[first], humidity.reason[second]) < FIRST_BAD
        return Climate(
            at_ms[usable], temperature.value[first][usable], humidity.value[second][usable]
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """What an assessment is made from, the readings apart; rows are the newest first."""

    place: Enclosure
    room: Room | None
    probe: Probe | None
    goal: Goal | None
    rows: list[JournalRow]
    at_ms: int

    @property
    def daylight(self) -> Daylight:
        place = self.place
        return Daylight(place.lights_on, place.lights_off, place.zone_info)

    def reported(self) -> list[Reported]:
        since_ms = self.at_ms - (DAYS + 1) * DAY_MS
        return [
            Reported(
                row.entry.at_ms,
                row.entry.seconds,
                Source.MISTER if row.source is entries.Source.MISTER else Source.JOURNAL,
            )
            for row in self.rows
            if isinstance(row.entry, entries.Misted) and row.entry.at_ms >= since_ms
        ]

    def rejected(self) -> list[int]:
        return [row.entry.at_ms for row in self.rows if isinstance(row.entry, entries.NotMisted)]

    def taken(self) -> Taken | None:
        """The schedule that was taken last."""
        for row in self.rows:
            if isinstance(row.entry, entries.MistingPlan):
                return Taken(row.entry.at_ms, schedule_of(row.entry.times))
        return None


def schedule_of(times: entries.MistingTimes) -> Schedule:
    """Runs as written, in order of time."""
    return tuple(sorted(Spray(each.at, each.seconds) for each in times))


def wire(report: MistingReport) -> dict[str, Any]:
    """The report as the API gives it."""
    return {
        "enclosure": report.enclosure.id,
        "probe": None if report.probe is None else report.probe.id,
        "goal": goal_wire(report.goal),
        **assessment_wire(report.assessment),
        "taken": None if report.follow_up is None else follow_up_wire(report.follow_up),
    }


def _limits(mister: Mister) -> Limits:
    return Limits(
        shortest_s=mister.shortest_s,
        longest_s=mister.longest_s,
        step_s=mister.step_s,
        most_a_day=mister.most_a_day,
        apart_min=mister.apart_min,
        quiet=mister.quiet,
        only_lit=mister.lights == "on",
        only_dark=mister.lights == "off",
        flow_ml_per_s=mister.flow_ml_per_s,
    )
