"""What is told: which alarms call for the keeper, on which channels, and in what words."""

import datetime as dt
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from monitor.alarms.model import Alarm, Priority, State
from monitor.alarms.states import Change
from monitor.alarms.wording import wire
from monitor.setup.channels import Channel
from monitor.setup.models import Setup
from monitor.store.rows import Notice

RAISED = "raised"

_URGENCY = tuple(Priority)
_SILENCED = (State.SHELVED, State.SUPPRESSED)


class Whereabouts(NamedTuple):
    """What a keeper calls a place, and the time zone its clock runs in."""

    name: str
    zone: dt.tzinfo


def whereabouts(setup: Setup) -> dict[str, Whereabouts]:
    """Every room and enclosure by its id; a room's clock that of an enclosure in it, or UTC."""
    enclosures = {each.id: Whereabouts(each.name, each.zone_info) for each in setup.enclosure}
    clocks = {each.room: each.zone_info for each in setup.enclosure}
    rooms = {each.id: Whereabouts(each.name, clocks.get(each.id, dt.UTC)) for each in setup.room}
    return rooms | enclosures


def notices_for(
    events: Iterable[Change],
    channels: Sequence[Channel],
    places: Mapping[str, Whereabouts],
    now_ms: int,
) -> list[Notice]:
    """Notices for the alarms that came to call for the keeper in the events of one step.

    Each occurrence has one idempotency key: told again, it is a repeat that the outbox leaves out.
    An alarm that the same step silenced (a graver one took over, or it is shelved) is left out.
    """
    now: dict[str, Alarm] = {}
    called: dict[str, None] = {}
    for event in events:
        now[event.alarm.id] = event.alarm
        if event.alarm.state is State.UNACKNOWLEDGED:
            called[event.alarm.id] = None
    return [
        notice
        for alarm in (now[alarm_id] for alarm_id in called)
        if alarm.state not in _SILENCED
        for notice in _notices(alarm, channels, places, now_ms)
    ]


def _notices(
    alarm: Alarm, channels: Sequence[Channel], places: Mapping[str, Whereabouts], now_ms: int
) -> list[Notice]:
    place = alarm.point.place
    name, zone = places.get(place, Whereabouts(place, dt.UTC))
    told = {"event": RAISED, "enclosure_name": name, **wire(alarm, zone, now_ms)}
    body = json.dumps(told, ensure_ascii=False)
    return [
        Notice(channel.name, f"{alarm.id}/{RAISED}", RAISED, body)
        for channel in channels
        if _URGENCY.index(alarm.priority) <= _URGENCY.index(Priority(channel.from_priority))
    ]
