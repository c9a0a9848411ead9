"""Who is told of what, and when: priorities, quiet hours, limits, escalation.

Nothing is remembered here. What is due follows from the alarms and from what the outbox holds, so
that a restart forgets nothing and tells nothing twice, and what had to wait is told as it stands
by then, or not at all if a keeper has dealt with it.
"""

from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from monitor.alarms.model import Alarm, Priority, State
from monitor.alarms.notices import Matter, Occasion, Scribe, call, ending, escalation_key
from monitor.alarms.states import Change, Event
from monitor.setup.channels import Channel
from monitor.store.rows import Notice, Told
from monitor.times import HOUR_MS, MINUTE_MS

LIMITED_MS = HOUR_MS
"""The time that a channel's ``most_per_hour`` counts over."""

CALLING = (State.UNACKNOWLEDGED, State.RETURNED)
"""The states of alarms that wait for a keeper."""

_SILENCED = (State.SHELVED, State.SUPPRESSED, State.OUT_OF_SERVICE)
_URGENCY = tuple(Priority)


class Due(NamedTuple):
    """What is to be put in line; ``covered`` are keys, by channel, that a summary speaks for."""

    notices: list[Notice]
    covered: list[tuple[str, str]]


def due_after(
    events: Iterable[Change], channels: Sequence[Channel], told: Told, scribe: Scribe, now_ms: int
) -> Due:
    """What the events of one step call for.

    An alarm that the same step silenced (a graver one took over, or it is shelved) is left out, so
    is one for which the first-out alarm of its group calls, and the return of one that was not told
    before.
    """
    now: dict[str, Alarm] = {}
    called: dict[str, None] = {}
    returned: dict[str, None] = {}
    for event in events:
        now[event.alarm.id] = event.alarm
        if event.alarm.state is State.UNACKNOWLEDGED:
            called[event.alarm.id] = None
        elif event.event is Event.RETURNED:
            returned[event.alarm.id] = None
    calling = [now[each] for each in called if _speaks(now[each])]
    over = [now[each] for each in returned if _speaks(now[each])]
    plan = partial(_planned, told=told, scribe=scribe, now_ms=now_ms)
    return _joined(
        plan(channel, [*_calls(calling, channel), *_endings(over, channel, told)])
        for channel in channels
    )


def seen_to(events: Iterable[Change]) -> dict[str, str]:
    """The alarms that a keeper has seen to, by id, and who that was: calls for them can stay away.

    Whoever shelves an alarm, is at work on its place or takes its probe out of service has seen to
    it as well as who acknowledges it; if it still stands after that, it calls anew.
    """
    return {
        event.alarm.id: event.by
        for event in events
        if event.by is not None and event.alarm.state not in CALLING
    }


def due_by_time(
    alarms: Iterable[Alarm], channels: Sequence[Channel], told: Told, scribe: Scribe, now_ms: int
) -> Due:
    """What the mere passing of time calls for, of all alarms that are not over.

    Quiet hours end, limits give way, and nobody has acknowledged. A channel that is new is told of
    what still waits for an acknowledgement.
    """
    calling = [alarm for alarm in alarms if alarm.state in CALLING and _speaks(alarm)]
    escalated = due_escalations(calling, channels, told, now_ms)
    plan = partial(_planned, told=told, scribe=scribe, now_ms=now_ms)
    return _joined(
        plan(channel, [*_calls(calling, channel), *escalated.get(channel.name, ())])
        for channel in channels
    )


def due_escalations(
    alarms: Iterable[Alarm], channels: Sequence[Channel], told: Told, now_ms: int
) -> dict[str, list[Matter]]:
    """Alarms that stand, were told on a channel, and still wait, by the next channel's name.

    The minutes count from when the notice was put in line. An alarm whose condition is over wakes
    nobody else.
    """
    standing = [alarm for alarm in alarms if alarm.state is State.UNACKNOWLEDGED]
    found: dict[str, list[Matter]] = {}
    for channel in channels:
        if channel.escalate_to is None or channel.escalate_after_min is None:
            continue
        for alarm in standing:
            told_ms = _told_ms(alarm, channel, told)
            key = escalation_key(alarm, channel.escalate_to)
            if told_ms is None or (channel.escalate_to, key) in told.at_ms:
                continue
            waited_ms = now_ms - max(told_ms, alarm.called_at_ms or told_ms)
            if waited_ms >= channel.escalate_after_min * MINUTE_MS:
                minutes = waited_ms // MINUTE_MS
                more = {"escalated_from": channel.name, "unacknowledged_min": minutes}
                matter = Matter(alarm, Occasion.ESCALATED, key, more)
                found.setdefault(channel.escalate_to, []).append(matter)
    return found


def _speaks(alarm: Alarm) -> bool:
    """Whether an alarm speaks for itself."""
    return alarm.state not in _SILENCED and alarm.group is None


def _calls(alarms: Iterable[Alarm], channel: Channel) -> Iterator[Matter]:
    if not channel.only_escalation:
        yield from map(call, alarms)


def _endings(alarms: Iterable[Alarm], channel: Channel, told: Told) -> Iterator[Matter]:
    if channel.tell_return:
        yield from (ending(alarm) for alarm in alarms if _told_ms(alarm, channel, told) is not None)


def _told_ms(alarm: Alarm, channel: Channel, told: Told) -> int | None:
    """When a channel was told that an alarm calls, directly or by escalation."""
    by_call = told.at_ms.get((channel.name, call(alarm).key))
    if by_call is not None:
        return by_call
    return told.at_ms.get((channel.name, escalation_key(alarm, channel.name)))


def _joined(parts: Iterable[Due]) -> Due:
    notices, covered = [], []
    for part in parts:
        notices += part.notices
        covered += part.covered
    return Due(notices, covered)


def _planned(
    channel: Channel, matters: Iterable[Matter], *, told: Told, scribe: Scribe, now_ms: int
) -> Due:
    """What a channel is given now of what there is for it to tell."""
    fresh = {
        matter.key: matter
        for matter in matters
        if (channel.name, matter.key) not in told.at_ms
        and channel.takes(matter.alarm.priority)
        and not channel.rests(matter.alarm.priority, now_ms)
    }
    singly, together = _limited(fresh.values(), channel, told.lately.get(channel.name, 0))
    notices = [scribe.notice(matter, channel, now_ms) for matter in singly]
    if together:
        notices.append(scribe.summary(together, channel, now_ms))
    return Due(notices, [(channel.name, matter.key) for matter in together])


def _limited(
    matters: Iterable[Matter], channel: Channel, lately: int
) -> tuple[list[Matter], list[Matter]]:
    """What is told one by one, and what in a summary; the rest waits, or is a return and dropped.

    Critical alarms always go. The last place within the limit is for the summary.
    """
    ranked = sorted(matters, key=_rank)
    endings = [matter for matter in ranked if matter.occasion is Occasion.RETURNED]
    alarms = [matter for matter in ranked if matter.occasion is not Occasion.RETURNED]
    critical = [matter for matter in alarms if matter.alarm.priority is Priority.CRITICAL]
    others = alarms[len(critical) :]
    room = max(0, channel.most_per_hour - lately - len(critical))
    if len(others) <= room:
        return [*alarms, *endings[: room - len(others)]], []
    if room == 0:
        return critical, []
    return [*critical, *others[: room - 1]], others[room - 1 :]


def _rank(matter: Matter) -> tuple[int, int]:
    return _URGENCY.index(matter.alarm.priority), matter.alarm.raised_at_ms
