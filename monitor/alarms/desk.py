"""The alarm desk: what the daemon's one thread asks about readings, silence and a keeper's acts.

Every method that can change something answers with ``Changes`` and leaves the desk as it was. The
caller saves them, in the same transaction as the readings, and then calls ``commit`` (also when
there was nothing to save but the readings); if saving fails it drops them and goes on, or builds
the desk again from what was saved. Both come to the same.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Self

from monitor.alarms import states
from monitor.alarms.detection import Phase, PointMemory
from monitor.alarms.ledger import Ledger
from monitor.alarms.model import Alarm, PointKey, Priority
from monitor.alarms.rules import Rules
from monitor.alarms.states import Change
from monitor.alarms.watch import Findings, ProbeKey, Watch
from monitor.errors import NotFound
from monitor.store.readings import Readings, SeriesKey
from monitor.times import MINUTE_MS

AHEAD_MS = 5 * MINUTE_MS
"""How far ahead of the daemon's clock a reading can lie and be good (see monitor.judge)."""
_COMMITTED = -1
"""The base of changes that the desk has taken in already."""


@dataclass(frozen=True, slots=True)
class Changes:
    """What to save, and what to tell.

    ``points``: what to remember of a point from now on, None to forget it; ``alarms``: those that
    changed, as they are now, each once, older occurrences of a point first; ``events``: every move
    between states, in order. ``findings`` and ``base`` are for ``AlarmDesk.commit`` alone.
    """

    points: list[tuple[PointKey, PointMemory | None]]
    alarms: list[Alarm]
    events: list[Change]
    findings: Findings
    base: int

    def __bool__(self) -> bool:
        """Whether there is anything to save."""
        return bool(self.points or self.alarms)


class AlarmDesk:
    """Rules, what is remembered of the readings, and the open alarms.

    Make one with ``load``. ``now_ms`` is always the daemon's clock; silence is counted on it, so
    the desk has to be told when it was put right (``rebuilt``).
    """

    def __init__(self, watch: Watch, alarms: dict[PointKey, Alarm]) -> None:
        self._watch = watch
        self._open = alarms
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
        heard: Mapping[ProbeKey, int] | None = None,
    ) -> tuple[Self, Changes]:
        """A desk that goes on from what was saved, and the changes that the rules ask for.

        Alarms of points that are no longer watched are withdrawn and their memory is forgotten.
        The desk already stands as it is after these changes: save them before it is used, and drop
        it if that fails.

        Args:
            rules: what is watched.
            memories: all that ``Changes.points`` asked to remember.
            alarms: those that are not over.
            last_used: of each series the time of its newest good reading among those that were
                stepped and saved; older ones will be passed by. One from a clock that has since
                been put back would silence its series until then, so none counts that lies ahead.
            series: ids of the series known so far; ``bind`` adds more.
            now_ms: probes that are not in ``heard`` count as heard now.
            heard: when probes were last heard; a restart leaves it out, so that the time the
                daemon was away is not taken for silence.
        """
        watched = rules.points()
        open_now = {alarm.point: alarm for alarm in alarms}
        ledger = Ledger(open_now)
        for alarm in sorted(
            open_now.values(), key=lambda alarm: alarm.priority is Priority.CRITICAL
        ):
            if alarm.point not in watched:
                ledger.withdraw(alarm, now_ms)
        _bring_up_to_date(open_now, ledger.alarms.values())

        latest_ms = now_ms + AHEAD_MS
        timely = {point: _timely(memory, latest_ms) for point, memory in memories.items()}
        kept = _agreeing(
            {point: memory for point, memory in timely.items() if memory is not None},
            watched,
            open_now,
        )
        points = [
            (point, kept.get(point))
            for point in dict.fromkeys((*memories, *kept))
            if kept.get(point) != memories.get(point)
        ]
        used = {key: min(at_ms, latest_ms) for key, at_ms in last_used.items()}
        watch = Watch(rules, kept, used, heard or {}, now_ms)
        watch.bind(series)
        changes = Changes(
            points, list(ledger.alarms.values()), ledger.events, Findings(), _COMMITTED
        )
        return cls(watch, open_now), changes

    def rebuilt(self, rules: Rules, now_ms: int, jumped_ms: int = 0) -> tuple[Self, Changes]:
        """A desk for other rules that goes on from this one, and the changes they ask for.

        As for ``load``: save the changes, then use the new desk in the place of this one.
        ``jumped_ms`` is how far the clock was put forward since the last step, or back if
        negative: that is no silence of the probes.
        """
        return self.load(
            rules,
            memories=self._watch.memories,
            alarms=self._open.values(),
            last_used=self._watch.last_used(),
            series=self._watch.series,
            now_ms=now_ms,
            heard={key: at_ms + jumped_ms for key, at_ms in self._watch.last_heard().items()},
        )

    @property
    def alarms(self) -> list[Alarm]:
        """All alarms that are not over."""
        return list(self._open.values())

    def bind(self, series: Mapping[SeriesKey, int]) -> None:
        """Learn the ids of further series: readings of others are passed by."""
        self._watch.bind(series)

    def step(self, readings: Readings, now_ms: int) -> Changes:
        """What a batch of judged readings changes that arrived at ``now_ms``."""
        findings = self._watch.look(readings, now_ms)
        ledger = Ledger(self._open)
        for probe in findings.heard_again:
            ledger.hear_again(probe, now_ms)
        for signal in findings.signals:
            ledger.take(signal)
        return self._changes(ledger, findings)

    def tick(self, now_ms: int) -> Changes:
        """What the mere passing of time changes: probes fall silent, shelves end."""
        findings = self._watch.listen(now_ms)
        ledger = Ledger(self._open)
        for alarm in self._open.values():
            if alarm.shelved_until_ms is not None and alarm.shelved_until_ms <= now_ms:
                ledger.end_shelf(alarm, now_ms)
        for silence in findings.silent:
            ledger.fall_silent(silence.probe, silence.since_ms, now_ms)
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
            Conflict: it cannot be shelved as it is, or the time is past.
        """
        return self._act(states.shelved(self._find(alarm_id), until_ms, by, at_ms))

    def unshelve(self, alarm_id: str, by: str, at_ms: int) -> Changes:
        """A keeper ends a shelf before its time.

        Raises:
            NotFound: no open alarm has this id.
            Conflict: it is not shelved.
        """
        ledger = Ledger(self._open)
        ledger.end_shelf(self._find(alarm_id), at_ms, by)
        return self._changes(ledger, Findings())

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
        _bring_up_to_date(self._open, changes.alarms)
        self._base += 1

    def _find(self, alarm_id: str) -> Alarm:
        for alarm in self._open.values():
            if alarm.id == alarm_id:
                return alarm
        raise NotFound(f"no open alarm has the id {alarm_id!r}")

    def _act(self, change: Change) -> Changes:
        ledger = Ledger(self._open)
        ledger.record(change)
        return self._changes(ledger, Findings())

    def _changes(self, ledger: Ledger, findings: Findings) -> Changes:
        return Changes(
            points=list(findings.memories.items()),
            alarms=list(ledger.alarms.values()),
            events=ledger.events,
            findings=findings,
            base=self._base,
        )


def _bring_up_to_date(open_now: dict[PointKey, Alarm], changed: Iterable[Alarm]) -> None:
    for alarm in changed:
        if alarm.over:
            open_now.pop(alarm.point, None)
        else:
            open_now[alarm.point] = alarm


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
