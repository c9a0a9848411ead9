"""The way of a reading: decode, judge, keep, watch; all of a batch in one transaction.

Everything here belongs to the ingest thread. What is held in memory follows the database: it
changes only after a commit, so that a batch that could not be kept can be taken again as it is.
"""

import datetime as dt
import logging
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress

from monitor.alarms.desk import AlarmDesk, Changes
from monitor.alarms.hearing import ProbeKey
from monitor.alarms.model import Alarm, Because
from monitor.alarms.states import Event
from monitor.alarms.suppression import MISTER
from monitor.alarms.wording import wire
from monitor.analysis.now import probe_now
from monitor.analysis.settling import Verdict
from monitor.errors import Conflict, NotFound
from monitor.ingest import filing
from monitor.ingest.intake import Switched, take_in
from monitor.ingest.link import Message
from monitor.ingest.live import Hub
from monitor.ingest.rejects import Reject, Rejects
from monitor.ingest.roster import Position
from monitor.ingest.standing import Standing, stand
from monitor.ingest.telling import Teller
from monitor.judge import Memory, judge
from monitor.judge import Rules as JudgeRules
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.models import Correction, devices_of
from monitor.setup.settings import Settings
from monitor.setup.sources import contradictions
from monitor.species.library import Library
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.rows import Notice, VerdictRow
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import calibrations, journal, outbox, setup, verdicts
from monitor.store.sqlite.state.setup import Place
from monitor.times import DAY_MS

log = logging.getLogger(__name__)

NOTICES_KEPT_MS = 90 * DAY_MS
CALIBRATION = "calibration"
"""Who takes a probe out of service that is in a salt box."""
FAULT = "fault"
"""Rejected because dewkeep itself failed on the message; the log tells where."""


class Pipeline:
    """Takes messages, keeps what they hold, and knows which alarms stand.

    ``told`` is called after a commit that put something into the outbox, ``raised`` after one
    that raised alarms.
    """

    def __init__(
        self,
        database: Database,
        readings: ReadingStore,
        settings: Settings,
        library: Library,
        hub: Hub,
        rejects: Rejects,
        told: Callable[[], None],
        raised: Callable[[list[Alarm]], None],
        now_ms: int,
    ) -> None:
        self._database = database
        self._readings = readings
        self._settings = settings
        self._library = library
        self._hub = hub
        self._rejects = rejects
        self._told = told
        self._raised = raised
        self._repeated = 0
        self._lag_s: float | None = None
        self._changed: set[int] = set()
        with database.transaction() as connection:
            self._teller = Teller.load(connection, settings)
            self._standing = self._compile(connection, now_ms)
            self._desk, changes = AlarmDesk.load(
                self._standing.rules,
                memories=filing.memories(connection),
                alarms=filing.open_alarms(connection),
                last_used=self._last_used(),
                series=self._standing.series,
                now_ms=now_ms,
                suppressions=filing.suppressions(connection),
                closed=filing.lately_closed(connection, now_ms),
            )
            self._save(connection, changes, now_ms)
        self._boxed = self._in_salt_box()
        self._owner: dict[int, tuple[str, str]] = {}
        self._judging = self._learn_series()
        self._memory = Memory.recalled(readings.latest(), self._judging)

    # -- readings --------------------------------------------------------------------------------

    @property
    def repeated(self) -> int:
        """Readings that came again and were left out."""
        return self._repeated

    @property
    def lag_s(self) -> float | None:
        """How old the newest reading of the last batch was when it came; None before any."""
        return self._lag_s

    def take(self, messages: Sequence[Message], now_ms: int) -> None:
        """Keep what the messages hold, and raise or clear alarms by it; ``hand_over`` follows.

        Raises:
            StoreError: nothing of it was kept, nothing has changed; take them again later.
        """
        intake = take_in(messages, self._standing.roster, now_ms, self._new_series)
        verdict = judge(self._judging, self._memory, intake.readings, now_ms)
        changes = self._desk.step(verdict.readings, now_ms, intake.switched)
        with self._database.transaction() as connection:
            self._readings.append(verdict.readings)
            self._note(connection, intake.switched, now_ms)
            told = self._save(connection, changes, now_ms)
        self._memory.learn(verdict.lesson)
        self._desk.commit(changes)
        self._repeated += verdict.repeated
        if len(intake.readings):
            self._lag_s = max(0, now_ms - int(intake.readings.at_ms.max())) / 1000
        for reject in intake.rejects:
            self._rejects.add(reject)
        if self._hub.listeners:
            self._changed.update(verdict.readings.series.tolist())
        self._tell(changes, told, now_ms)

    def hand_over(self) -> None:
        """Have the engine keep what was taken; what it does not have is not to be acknowledged.

        Raises:
            StoreError: it has not got all of it; call again later.
        """
        self._readings.flush()

    def reject(self, message: Message, mistake: Exception, now_ms: int) -> None:
        """Give a message up that dewkeep itself fails on."""
        says = f"dewkeep failed on it ({mistake!r}); the log holds the message"
        self._rejects.add(Reject(now_ms, message.topic, FAULT, says))

    def tick(self, now_ms: int, *, broker_connected: bool) -> None:
        """What time alone brings: silence, ends of shelves, escalation, changes by others, tidying.

        Call about once a second.
        """
        self._readings.tidy(now_ms)
        with self._database.reading() as connection:
            changed = setup.revision(connection) != self._standing.revision
            boxed = calibrations.boxed(connection)
        if changed or now_ms >= self._standing.until_ms:
            with self._database.transaction() as connection:
                self._rebuild(connection, now_ms)
        self._mind_salt_boxes(boxed, now_ms)
        self._act(self._desk.tick(now_ms, broker_connected=broker_connected), now_ms)
        if self._teller.by_time(self._database, self._desk.alarms, self._standing.places, now_ms):
            self._told()
        self._show_climate()

    def clock_jumped(self, by_ms: int, now_ms: int) -> None:
        """The clock was put forward, or back if negative; it says ``now_ms`` from now on.

        Raises:
            StoreError: nothing has changed; say it again.
        """
        with self._database.transaction() as connection:
            self._rebuild(connection, now_ms, by_ms)

    def forget(self, now_ms: int) -> None:
        """Let go of single readings past their keeping time, and of notices long delivered.

        Their time runs with the readings themselves: a clock that is years ahead for a night must
        not cost years of history.
        """
        newest_ms = max((last.at_ms for last in self._readings.latest().values()), default=now_ms)
        upto_ms = min(now_ms, newest_ms)
        gone = self._readings.expire(upto_ms - self._settings.store.raw_days * DAY_MS)
        with self._database.transaction() as connection:
            outbox.forget(connection, now_ms - NOTICES_KEPT_MS)
        if gone:
            log.info("forgot %d readings older than %d days", gone, self._settings.store.raw_days)

    def settle(
        self, row: VerdictRow, notices: Sequence[Notice], relapse: str | None, now_ms: int
    ) -> None:
        """Keep a verdict on a build, tell it if it is news, raise or end the alarm of a relapse.

        The first verdict counts as a change from ``collecting``.
        """
        changes = self._desk.judge_build(row.place, relapse, now_ms)
        with self._database.transaction() as connection:
            before = verdicts.note(connection, row)
            told = False
            if row.verdict != (before.verdict if before else Verdict.COLLECTING):
                told = outbox.add(connection, notices, now_ms) > 0
            told |= self._save(connection, changes, now_ms)
        self._desk.commit(changes)
        self._tell(changes, told, now_ms)

    # -- what a keeper does ----------------------------------------------------------------------

    def acknowledge(self, alarm_id: str, by: str, now_ms: int) -> None:
        """A keeper has seen an alarm (see ``AlarmDesk.acknowledge``)."""
        self._act(self._desk.acknowledge(alarm_id, by, now_ms), now_ms)

    def shelve(self, alarm_id: str, until_ms: int, by: str, now_ms: int) -> None:
        """A keeper sets an alarm aside (see ``AlarmDesk.shelve``)."""
        self._act(self._desk.shelve(alarm_id, until_ms, by, now_ms), now_ms)

    def unshelve(self, alarm_id: str, by: str, now_ms: int) -> None:
        """A keeper takes an alarm back (see ``AlarmDesk.unshelve``)."""
        self._act(self._desk.unshelve(alarm_id, by, now_ms), now_ms)

    def suppress(
        self, place: str, because: Because, until_ms: int, who: str, why: str, now_ms: int
    ) -> None:
        """A keeper is at work, or has the lid open (see ``AlarmDesk.suppress``)."""
        self._act(self._desk.suppress(place, because, until_ms, who, now_ms, why), now_ms)

    def end_suppression(self, place: str, because: Because, now_ms: int) -> None:
        """A keeper is done (see ``AlarmDesk.end_suppression``)."""
        self._act(self._desk.end_suppression(place, because, now_ms), now_ms)

    def remove_from_service(self, place: str, probe: str, who: str, why: str, now_ms: int) -> None:
        """No alarm of a probe counts for now (see ``AlarmDesk.remove_from_service``)."""
        self._act(self._desk.remove_from_service(place, probe, who, now_ms, why), now_ms)

    def place_in_service(self, place: str, probe: str, who: str, now_ms: int) -> None:
        """A probe counts again (see ``AlarmDesk.place_in_service``)."""
        self._act(self._desk.place_in_service(place, probe, who, now_ms), now_ms)

    def put_place(self, place: Place, who: str, expected: int | None, now_ms: int) -> int:
        """Set up or change a room or enclosure, in force at once; its revision.

        Raises:
            Conflict: see ``state.setup.put``; or the settings take a device for another probe.
        """
        for _, says in contradictions(self._settings.source, devices_of([place])):
            raise Conflict(says)
        with self._database.transaction() as connection:
            revision = setup.put(connection, place, who=who, now_ms=now_ms, expected=expected)
            self._rebuild(connection, now_ms)
        return revision

    def delete_place(self, place_id: str, who: str, expected: int | None, now_ms: int) -> None:
        """Take a room or enclosure out of the set-up, in force at once.

        Raises:
            NotFound, Conflict: see ``state.setup.delete``.
        """
        with self._database.transaction() as connection:
            setup.delete(connection, place_id, who=who, now_ms=now_ms, expected=expected)
            self._rebuild(connection, now_ms)

    # -- inside ----------------------------------------------------------------------------------

    def _compile(self, connection: sqlite3.Connection, now_ms: int) -> Standing:
        return stand(connection, self._library, self._settings, self._readings, now_ms)

    def _rebuild(self, connection: sqlite3.Connection, now_ms: int, jumped_ms: int = 0) -> None:
        """Put the stored set-up in force once the open transaction has committed."""
        standing = self._compile(connection, now_ms)
        desk, changes = self._desk.rebuilt(standing.rules, now_ms, jumped_ms)
        desk.bind(standing.series)
        told = self._save(connection, changes, now_ms)

        def put_in_force() -> None:
            self._standing = standing
            self._desk = desk
            self._judging = self._learn_series()
            self._memory.grow(len(self._judging.rows))
            self._show_alarms(changes.alarms, now_ms)
            if told:
                self._told()

        self._database.once_committed(put_in_force)

    def _new_series(self, position: Position, quantity: Quantity) -> int:
        """Make room everywhere for a quantity that a probe sends for the first time."""
        key = SeriesKey(position.place, position.probe.id, quantity)
        (series,) = self._readings.series_ids([key])
        position.series[quantity] = series
        self._desk.bind({key: series})
        self._judging = self._learn_series()
        self._memory.grow(len(self._judging.rows))
        return series

    def _learn_series(self) -> JudgeRules:
        """Look up whose each series is, and how it is to be judged."""
        self._owner.clear()
        quantities: dict[int, Quantity] = {}
        corrections: dict[int, Correction] = {}
        away: set[int] = set()
        for address, position in self._standing.roster.positions.items():
            for quantity, series in position.series.items():
                self._owner[series] = address
                quantities[series] = quantity
                corrections[series] = position.probe.calibration.get(quantity, Correction())
                if address in self._boxed:
                    away.add(series)
        return JudgeRules.compiled(quantities, corrections, self._settings.judge, away)

    def _last_used(self) -> dict[SeriesKey, int]:
        """The time of each series' newest good reading: alarms were stepped up to there."""
        latest = self._readings.latest()
        used: dict[SeriesKey, int] = {}
        for key, series in self._readings.known_series().items():
            newest = latest.get(series)
            if newest is None:
                continue
            if newest.reason is Reason.OK:
                used[key] = newest.at_ms
                continue
            track = self._readings.track(key, newest.at_ms - DAY_MS, newest.at_ms + 1)
            good = track.at_ms[track.reason == Reason.OK]
            if len(good):
                used[key] = int(good[-1])
        return used

    def _mind_salt_boxes(self, boxed: Mapping[ProbeKey, int], now_ms: int) -> None:
        """Take probes that went into a salt box out of service, and place back those that came out.

        What they read there says nothing about the climate. Runs are begun and ended by any
        process; a keeper who acts on the probe meanwhile is heeded.
        """
        if boxed.keys() == self._boxed:
            return
        ours = self._in_salt_box()
        for place, probe in sorted(boxed.keys() - self._boxed):
            with suppress(NotFound, Conflict):  # it is gone, or out of service already
                why = f"in a salt box (calibration {boxed[place, probe]})"
                self.remove_from_service(place, probe, CALIBRATION, why, now_ms)
        for place, probe in sorted(ours & (self._boxed - boxed.keys())):
            self.place_in_service(place, probe, CALIBRATION, now_ms)
        self._boxed = set(boxed)
        self._judging = self._learn_series()

    def _in_salt_box(self) -> set[ProbeKey]:
        """The probes that are out of service for their calibration."""
        return {
            (each.place, each.probe)
            for each in self._desk.suppressions
            if each.by == CALIBRATION and each.probe is not None
        }

    def _act(self, changes: Changes, now_ms: int) -> None:
        if not changes:
            return
        with self._database.transaction() as connection:
            told = self._save(connection, changes, now_ms)
        self._desk.commit(changes)
        self._tell(changes, told, now_ms)

    def _save(self, connection: sqlite3.Connection, changes: Changes, now_ms: int) -> bool:
        """Write alarm changes down, with what is to be told; whether anything is."""
        if not changes:
            return False
        filing.file(connection, changes)
        return self._teller.after(connection, changes.events, self._standing.places, now_ms)

    def _note(
        self, connection: sqlite3.Connection, switched: Iterable[Switched], now_ms: int
    ) -> None:
        for place, name, at_ms, on in switched:
            if name == MISTER:
                journal.mister_switched(connection, place, at_ms, on=on, now_ms=now_ms)

    # -- showing ---------------------------------------------------------------------------------

    def _tell(self, changes: Changes, told: bool, now_ms: int) -> None:
        self._show_alarms(changes.alarms, now_ms)
        if raised := [e.alarm for e in changes.events if e.event is Event.RAISED]:
            self._raised(raised)
        if told:
            self._told()

    def _show_alarms(self, changed: Iterable[Alarm], now_ms: int) -> None:
        for alarm in changed:
            place = self._standing.places.get(alarm.point.place)
            self._hub.publish("alarm", wire(alarm, place.zone if place else dt.UTC, now_ms))

    def _show_climate(self) -> None:
        """Once a tick, not once a reading: nobody reads faster."""
        changed, self._changed = self._changed, set()
        probes = {self._owner[series] for series in changed if series in self._owner}
        latest = self._readings.latest()
        for address in sorted(probes):
            position = self._standing.roster.positions[address]
            measured = {q: latest[s] for q, s in position.series.items() if s in latest}
            now = {"enclosure": position.place} | probe_now(position.probe, measured)
            self._hub.publish("climate", now)
