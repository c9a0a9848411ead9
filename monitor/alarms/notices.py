"""What is told: the documents that leave, each with the key that repeats are told apart by."""

import datetime as dt
import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from monitor.alarms.model import DAEMON, Alarm
from monitor.alarms.wording import wire
from monitor.setup.channels import Channel
from monitor.setup.models import Setup
from monitor.store.rows import Notice

LinkMaker = Callable[[str, int], str]
"""Makes a link that acknowledges one alarm once, from its id and the time now."""

_MOST_PLACES_SAID = 5


class Occasion(StrEnum):
    """What gives rise to a notification."""

    RAISED = "raised"
    RECALLED = "recalled"
    """A shelf, or what else a keeper asked for, has ended and the condition still holds."""
    ESCALATED = "escalated"
    """Nobody acknowledged it on another channel."""
    RETURNED = "returned"
    SUMMARY = "summary"
    """More alarms than the channel takes one by one."""


CALLS = (Occasion.RAISED, Occasion.RECALLED, Occasion.ESCALATED)
"""What is told to call for a keeper."""


class Whereabouts(NamedTuple):
    """What a keeper calls a place, and the time zone its clock runs in."""

    name: str
    zone: dt.tzinfo


def whereabouts(setup: Setup) -> dict[str, Whereabouts]:
    """Every room and enclosure by its id; a room's clock that of an enclosure in it, or UTC.

    dewkeep itself goes by the clock of the first enclosure.
    """
    enclosures = {each.id: Whereabouts(each.name, each.zone_info) for each in setup.enclosure}
    clocks = {each.room: each.zone_info for each in setup.enclosure}
    rooms = {each.id: Whereabouts(each.name, clocks.get(each.id, dt.UTC)) for each in setup.room}
    clock = next((each.zone for each in enclosures.values()), dt.UTC)
    return rooms | enclosures | {DAEMON: Whereabouts("dewkeep", clock)}


@dataclass(frozen=True, slots=True)
class Matter:
    """One alarm to be told for one reason; ``more`` goes into the document beside the alarm."""

    alarm: Alarm
    occasion: Occasion
    key: str
    more: Mapping[str, object] = field(default_factory=dict)


def call(alarm: Alarm) -> Matter:
    """That an alarm calls for the keeper: once for each occurrence and each recall."""
    if alarm.recalls == 0:
        return Matter(alarm, Occasion.RAISED, f"{alarm.id}/{Occasion.RAISED}")
    return Matter(alarm, Occasion.RECALLED, f"{alarm.id}/{Occasion.RECALLED}/{alarm.recalls}")


def escalation_key(alarm: Alarm, to: str) -> str:
    """The key of an alarm's escalation to a channel: one for each alarm and step."""
    return f"{alarm.id}/{Occasion.ESCALATED}/{to}"


def ending(alarm: Alarm) -> Matter:
    """That the condition of an alarm is over."""
    return Matter(alarm, Occasion.RETURNED, f"{alarm.id}/{Occasion.RETURNED}")


@dataclass(frozen=True, slots=True)
class Scribe:
    """Writes the documents, with the names that keepers know and a link to acknowledge by.

    ``explanations`` are what is known of the alarms' causes, by alarm id.
    """

    places: Mapping[str, Whereabouts]
    explanations: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    link: LinkMaker | None = None

    def document(self, alarm: Alarm, now_ms: int) -> dict[str, object]:
        """The alarm as the API gives it, and what its place is called."""
        place = self._place(alarm)
        why = self.explanations.get(alarm.id, {"cause": None})
        return {"enclosure_name": place.name, **wire(alarm, place.zone, now_ms), **why}

    def notice(self, matter: Matter, channel: Channel, now_ms: int) -> Notice:
        """The alarm's document, with why it is told and how it can be acknowledged."""
        document: dict[str, object] = {
            "event": matter.occasion,
            "idempotency_key": matter.key,
            **matter.more,
            **self.document(matter.alarm, now_ms),
        }
        # At a broker everyone who reads there could follow the link.
        personal = channel.kind != "mqtt" and matter.occasion is not Occasion.RETURNED
        if self.link is not None and personal:
            document["acknowledge_url"] = self.link(matter.alarm.id, now_ms)
        return _notice(channel, matter.key, matter.occasion, document)

    def summary(self, matters: Sequence[Matter], channel: Channel, now_ms: int) -> Notice:
        """One word for many alarms, the most urgent first."""
        key = f"{Occasion.SUMMARY}/{now_ms}/{matters[0].alarm.id}"
        ranked = Counter(self._place(matter.alarm).name for matter in matters).most_common()
        said = [f"{count} in {name}" for name, count in ranked[:_MOST_PLACES_SAID]]
        if elsewhere := sum(count for _, count in ranked[_MOST_PLACES_SAID:]):
            said.append(f"{elsewhere} elsewhere")
        document = {
            "event": Occasion.SUMMARY,
            "idempotency_key": key,
            "priority": matters[0].alarm.priority,
            "alarms": len(matters),
            "says": f"{len(matters)} more alarms: {', '.join(said)}.",
        }
        return _notice(channel, key, Occasion.SUMMARY, document)

    def _place(self, alarm: Alarm) -> Whereabouts:
        place = alarm.point.place
        return self.places.get(place, Whereabouts(place, dt.UTC))


def _notice(
    channel: Channel, key: str, occasion: Occasion, document: Mapping[str, object]
) -> Notice:
    return Notice(channel.name, key, occasion, json.dumps(document, ensure_ascii=False))
