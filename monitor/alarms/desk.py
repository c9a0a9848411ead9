"""The alarm desk: what the daemon's one thread asks about readings, silence and a keeper's acts.

Every method that can change something answers with ``Changes`` and leaves the desk as it was. The
caller saves them, in the same transaction as the readings, and then calls ``commit`` (also when
there was nothing to save but the readings); if saving fails it drops them and goes on, or builds
the desk again from what was saved. Both come to the same.
"""

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Self

from monitor.alarms import states
from monitor.alarms.book import Book, Filed
from monitor.alarms.detection import Phase, PointMemory
from monitor.alarms.hearing import ProbeKey
from monitor.alarms.ledger import Ledger
from monitor.alarms.model import Alarm, Because, PointKey, Priority, relapse_of
from monitor.alarms.rules import Rules
from monitor.alarms.states import Change
from monitor.alarms.suppression import Suppression, key_of
from monitor.alarms.watch import Findings, Watch
from monitor.errors import Conflict, NotFound
from monitor.store.readings import Readings, SeriesKey
from monitor.times import HOUR_MS, MINUTE_MS, rfc3339

AHEAD_MS = 5 * MINUTE_MS
"""How far ahead of the daemon's clock a reading can lie and be good (see monitor.judge)."""
_COMMITTED = -1
"""The base of changes that the desk has taken in already."""


@dataclass(frozen=True, slots=True)
class Changes:
    """What to save, and what to tell.

    ``points``: what to remember of a point from now on, None to forget it; ``alarms``: those that
    changed, as they are now, each once, older occurrences of a point first; ``suppressions``: those
    that changed, by key, None to forget it; ``events``: every move between states, in order.
    ``findings`` and ``base`` are for ``AlarmDesk.commit`` alone.
    """

    points: list[tuple[PointKey, PointMemory | None]]
    alarms: list[Alarm]
    events: list[Change]
    findings: Findings
    base: int
    suppressions: list[Filed] = field(default_factory=list)

    def __bool__(self) -> bool:
        """Whether there is anything to save."""
        return bool(self.points or self.alarms or self.suppressions)


class AlarmDesk:
    """Rules, what is remembered of the readings, the open alarms and what keeps them quiet.

    Make one with ``load``. ``now_ms`` is always the daemon's clock; silence is counted on it, so
    the desk has to be told when it was put right (``rebuilt``).
    """

    def __init__(self, rules: Rules, watch: Watch, book: Book) -> None:
        self._rules = rules
        self._watch = watch
        self._book = book
        self._base = 0

    @classmethod
    def load(
        cls,
        rules: Rules,
        *,
        memories: Mapping[PointKey, PointMemory],
        alarms: Iterable[Alarm],
        last_used: Mapping[SeriesKey, int],
        series: Mapping[SeriesKey, int],
        now_ms: int,
        suppressions: Iterable[Suppression] = (),
        closed: Iterable[Alarm] = (),
        heard: Mapping[ProbeKey, int] | None = None,
        deaf_since_ms: int | None = None,
    ) -> tuple[Self, Changes]:
        """A desk that goes on from what was saved, and the changes that the rules ask for.

        Alarms of points that are no longer watched are withdrawn, their memory is forgotten, and so
        are suppressions of places and probes that are gone. The desk already stands as it is after
        these changes: save them before it is used, and drop it if that fails.

        Args:
            rules: what is watched.
            memories: all that ``Changes.points`` asked to remember.
            alarms: those that are not over.
            last_used: of each series the time of its newest good reading among those that were
                stepped and saved; older ones will be passed by. One from a clock that has since
                been put back would silence its series until then, so none counts that lies ahead.
            series: ids of the series known so far; ``bind`` adds more.
            now_ms: probes that are not in ``heard`` count as heard now.
            suppressions: all that ``Changes.suppressions`` asked to keep.
            closed: alarms that are over, raised within the last ``CHATTERING_MS``: for telling
                what chatters, and a flood.
            heard: when probes were last heard; a restart leaves it out, so that the time the
                daemon was away is not taken for silence.
            deaf_since_ms: since when there is no connection to the broker.
        """
        book = Book(rules.policy)
        book.enter(
            sorted((*alarms, *closed), key=lambda alarm: (alarm.raised_at_ms, alarm.id)),
            ((each.key, each) for each in suppressions),
        )
        watched = rules.points()
        ledger = Ledger(book, now_ms)
        for suppression in book.suppressions.values():
            if not rules.watches(suppression.place, suppression.probe):
                ledger.forget(suppression)
        for alarm in sorted(
            book.alarms.values(), key=lambda alarm: alarm.priority is Priority.CRITICAL
        ):
            if alarm.point not in watched:
                ledger.withdraw(alarm)
        book.enter(ledger.alarms.values(), ledger.suppressions.items())

        latest_ms = now_ms + AHEAD_MS
        timely = {point: _timely(memory, latest_ms) for point, memory in memories.items()}
        kept = _agreeing(
            {point: memory for point, memory in timely.items() if memory is not None},
            watched,
            book.alarms,
        )
        points = [
            (point, kept.get(point))
            for point in dict.fromkeys((*memories, *kept))
            if kept.get(point) != memories.get(point)
        ]
        used = {key: min(at_ms, latest_ms) for key, at_ms in last_used.items()}
        watch = Watch(rules, kept, used, heard or {}, now_ms, deaf_since_ms)
        watch.bind(series)
        changes = _changes(ledger, Findings(memories=dict(points)), _COMMITTED)
        return cls(rules, watch, book), changes

    def rebuilt(self, rules: Rules, now_ms: int, jumped_ms: int = 0) -> tuple[Self, Changes]:
        """A desk for other rules that goes on from this one, and the changes they ask for.

        As for ``load``: save the changes, then use the new desk in the place of this one.
        ``jumped_ms`` is how far the clock was put forward since the last step, or back if
        negative: that is no silence of the probes.
        """
        hearing = self._watch.hearing
        return self.load(
            rules,
            memories=self._watch.memories,
            alarms=self._book.alarms.values(),
            last_used=self._watch.last_used(),
            series=self._watch.series,
            now_ms=now_ms,
            suppressions=self._book.suppressions.values(),
            closed=self._book.closed.values(),
            heard={key: at_ms + jumped_ms for key, at_ms in hearing.last_heard().items()},
            deaf_since_ms=(
                None if hearing.deaf_since_ms is None else hearing.deaf_since_ms + jumped_ms
            ),
        )

    @property
    def alarms(self) -> list[Alarm]:
        """All alarms that are not over."""
        return list(self._book.alarms.values())

    @property
    def suppressions(self) -> list[Suppression]:
        """What keeps alarms quiet by design, or by a probe that is out of service."""
        return list(self._book.suppressions.values())

    def bind(self, series: Mapping[SeriesKey, int]) -> None:
        """Learn the ids of further series: readings of others are passed by."""
        self._watch.bind(series)

    def step(
        self,
        readings: Readings,
        now_ms: int,
        switches: Iterable[tuple[str, str, int, bool]] = (),
    ) -> Changes:
        """What a batch of judged readings changes that arrived at ``now_ms``.

        ``switches`` are those that were reported with them: (place, name, epoch ms UTC, on or off);
        other names than those of ``SWITCHES`` are passed by.
        """
        findings = self._watch.look(readings, now_ms)
        ledger = Ledger(self._book, now_ms)
        for probe in findings.heard_again:
            ledger.hear_again(probe)
        reports = deque(sorted(switches, key=itemgetter(2)))
        for signal in findings.signals:
            while reports and reports[0][2] <= signal.at_ms:
                ledger.switch(*reports.popleft())
            ledger.take(signal)
        for report in reports:
            ledger.switch(*report)
        return self._changes(ledger, findings)

    def tick(self, now_ms: int, *, broker_connected: bool = True) -> Changes:
        """What the mere passing of time changes.

        Probes fall silent, shelves and suppressions end, alarms call whose first-out alarm is over;
        without a connection to the broker no probe is silent, and after a while that is the alarm.
        """
        findings = self._watch.listen(now_ms, connected=broker_connected)
        ledger = Ledger(self._book, now_ms)
        ledger.let_time_pass()
        if findings.reconnected:
            ledger.reconnect()
        if findings.cut_off_ms is not None:
            ledger.cut_off(findings.cut_off_ms)
        for silence in findings.silent:
            ledger.fall_silent(silence.probe, silence.since_ms)
        ledger.look_after_groups()
        return self._changes(ledger, findings)

    def judge_build(self, place: str, relapse: str | None, at_ms: int) -> Changes:
        """Whether an enclosure that had settled no longer is; ``relapse`` says what undid it.

        Said again it changes nothing, nor does it of a place that is not an enclosure.
        """
        point = relapse_of(place)
        ledger, findings = Ledger(self._book, at_ms), Findings()
        stands = point in self._watch.memories
        if relapse is not None and not stands and place in self._rules.enclosures:
            ledger.relapse(point, relapse)
            findings.memories[point] = PointMemory(Phase.STANDING, at_ms)
        elif relapse is None and stands:
            ledger.settle(point)
            findings.memories[point] = None
        return self._changes(ledger, findings)

    def acknowledge(self, alarm_id: str, by: str, at_ms: int) -> Changes:
        """A keeper has seen an alarm.

        Raises:
            NotFound: no open alarm has this id.
            Conflict: it waits for no acknowledgement.
        """
        return self._act(states.acknowledged(self._find(alarm_id), by, at_ms))

    def shelve(self, alarm_id: str, until_ms: int, by: str, at_ms: int) -> Changes:
        """A keeper wants to hear no more of an alarm until a time; ``tick`` ends the shelf.

        Raises:
            NotFound: no open alarm has this id.
            Conflict: it cannot be shelved as it is, or the time is past or too far away.
        """
        alarm = self._find(alarm_id)
        self._must_end_in_time(f"alarm {alarm_id} cannot be shelved", until_ms, at_ms)
        return self._act(states.shelved(alarm, until_ms, by, at_ms))

    def unshelve(self, alarm_id: str, by: str, at_ms: int) -> Changes:
        """A keeper ends a shelf before its time.

        Raises:
            NotFound: no open alarm has this id.
            Conflict: it is not shelved.
        """
        ledger = Ledger(self._book, at_ms)
        ledger.end_shelf(self._find(alarm_id), by)
        return self._changes(ledger)

    def suppress(
        self, place: str, because: Because, until_ms: int, by: str, at_ms: int, why: str = ""
    ) -> Changes:
        """A keeper is at work on a place, or has its lid open, until a time.

        Said again, it counts anew with its new end.

        Raises:
            NotFound: no probe of this place is watched.
            Conflict: the time is past or too far away.
            ValueError: ``because`` is neither maintenance nor an open lid.
        """
        _a_keeper_says(because)
        self._must_be_watched(place)
        self._must_end_in_time(f"{because.value} of {place} cannot last", until_ms, at_ms)
        ledger = Ledger(self._book, at_ms)
        ledger.begin(Suppression(place, because, at_ms, until_ms, by, why))
        return self._changes(ledger)

    def end_suppression(self, place: str, because: Because, at_ms: int) -> Changes:
        """A keeper is done before the time; the climate has ``lid_settle_s`` left to settle.

        Raises:
            Conflict: nothing of the kind is in force.
            ValueError: ``because`` is neither maintenance nor an open lid.
        """
        _a_keeper_says(because)
        found = self._book.suppressions.get(key_of(place, because))
        if found is None or found.until_ms is None or found.until_ms <= at_ms:
            raise Conflict(f"{place}: no {because.value} is in force")
        ledger = Ledger(self._book, at_ms)
        settled_ms = at_ms + self._rules.policy.lid_settle_ms
        ledger.cut_short(found, min(found.until_ms, settled_ms))
        return self._changes(ledger)

    def remove_from_service(
        self, place: str, probe: str, by: str, at_ms: int, why: str = ""
    ) -> Changes:
        """A keeper takes a probe out of service: no alarm of it counts until it is placed back.

        Those that only wait for an acknowledgement are thereby acknowledged.

        Raises:
            NotFound: no such probe is watched.
            Conflict: it is out of service already.
        """
        self._must_be_watched(place, probe)
        gone = Suppression(place, Because.OUT_OF_SERVICE, at_ms, None, by, why, probe)
        if gone.key in self._book.suppressions:
            raise Conflict(f"probe {place}/{probe} is out of service already")
        ledger = Ledger(self._book, at_ms)
        ledger.close_returned(place, probe, by)
        ledger.begin(gone)
        return self._changes(ledger)

    def place_in_service(self, place: str, probe: str, by: str, at_ms: int) -> Changes:
        """A keeper places a probe back in service: what holds now calls anew.

        Raises:
            Conflict: it is not out of service.
        """
        found = self._book.suppressions.get(key_of(place, Because.OUT_OF_SERVICE, probe))
        if found is None:
            raise Conflict(f"probe {place}/{probe} is in service")
        ledger = Ledger(self._book, at_ms)
        ledger.end(found, by)
        return self._changes(ledger)

    def commit(self, changes: Changes) -> None:
        """Take changes that have been saved as the desk's own.

        Raises:
            ValueError: they were worked out from an earlier state of the desk.
        """
        if changes.base != self._base:
            raise ValueError(
                "these changes do not follow on what was committed last; work them out anew"
            )
        self._watch.remember(changes.findings)
        self._book.enter(changes.alarms, changes.suppressions)
        self._base += 1

    def _must_be_watched(self, place: str, probe: str | None = None) -> None:
        if not self._rules.watches(place, probe):
            what = f"place {place!r}" if probe is None else f"probe {place}/{probe}"
            raise NotFound(f"no {what} is watched")

    def _must_end_in_time(self, what: str, until_ms: int, at_ms: int) -> None:
        longest_ms = self._rules.policy.longest_quiet_ms
        if until_ms <= at_ms:
            says = "that is past; name a time to come"
        elif until_ms > at_ms + longest_ms:
            says = f"that is more than {longest_ms / HOUR_MS:g} h ahead (longest_quiet_s)"
        else:
            return
        raise Conflict(f"{what} until {rfc3339(until_ms)}: {says}")

    def _find(self, alarm_id: str) -> Alarm:
        for alarm in self._book.alarms.values():
            if alarm.id == alarm_id:
                return alarm
        raise NotFound(f"no open alarm has the id {alarm_id!r}")

    def _act(self, change: Change) -> Changes:
        ledger = Ledger(self._book, change.at_ms)
        ledger.record(change)
        return self._changes(ledger)

    def _changes(self, ledger: Ledger, findings: Findings | None = None) -> Changes:
        return _changes(ledger, findings or Findings(), self._base)


def _changes(ledger: Ledger, findings: Findings, base: int) -> Changes:
    return Changes(
        points=list(findings.memories.items()),
        alarms=list(ledger.alarms.values()),
        suppressions=list(ledger.suppressions.items()),
        events=ledger.events,
        findings=findings,
        base=base,
    )


def _a_keeper_says(because: Because) -> None:
    if because not in (Because.MAINTENANCE, Because.LID_OPEN):
        raise ValueError(f"{because.value!r} is not a keeper's to say; maintenance or lid_open is")


def _timely(memory: PointMemory, latest_ms: int) -> PointMemory | None:
    """What is left of a memory if its time lies ahead: whether it stands, no delay under way."""
    if memory.since_ms <= latest_ms:
        return memory
    if memory.phase is Phase.PENDING:
        return None
    return PointMemory(Phase.STANDING, latest_ms, memory.extreme)


def _agreeing(
    memories: Mapping[PointKey, PointMemory],
    watched: set[PointKey],
    alarms: Mapping[PointKey, Alarm],
) -> dict[PointKey, PointMemory]:
    """The memories of watched points that fit the open alarms.

    Memories and alarms are saved together and agree. Should they not, whether a condition stands
    is the alarm's to say: no alarm stays open unwatched, and none is missing that a memory takes
    for raised.
    """
    standing = {point: alarm for point, alarm in alarms.items() if alarm.standing}
    kept = {
        point: memory
        for point, memory in memories.items()
        if point in watched and (memory.phase is Phase.PENDING) is not (point in standing)
    }
    for point, alarm in standing.items():
        kept.setdefault(point, PointMemory(Phase.STANDING, alarm.raised_at_ms, alarm.extreme))
    return kept
