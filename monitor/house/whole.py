"""All that the daemons of a house tell, put together; no clock, no network.

What is set up is known to every daemon. So a place that nobody answers for is never left out: it
stands first, with what was last known of it.
"""

from collections.abc import Iterator, Mapping, Sequence
from enum import StrEnum
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import Field

from monitor.alarms.model import DAEMON, Priority, State
from monitor.alarms.notices import whereabouts
from monitor.alarms.wording import clock
from monitor.documents.base import Identifier, Name
from monitor.house import words
from monitor.house.told import (
    AlarmTold,
    Asked,
    Instant,
    PlaceTold,
    ProbeTold,
    Told,
    TroubleTold,
    Word,
)
from monitor.setup.models import Enclosure, Room, Setup
from monitor.setup.share import ShareSettings
from monitor.setup.timezones import TimeZone

WAITING = (State.UNACKNOWLEDGED, State.RETURNED)


class Watch(StrEnum):
    """Whether exactly one daemon answers for a place; the most pressing comes first."""

    UNWATCHED = "unwatched"
    CLAIMED = "claimed"
    """By several."""
    WATCHED = "watched"


class DaemonSeen(Word):
    """One daemon of the house, as the one that was asked sees it."""

    name: Identifier
    url: str | None
    """Where its page is; null for the one that was asked."""
    answers: bool
    says: str | None
    """Why it does not answer, in a sentence."""
    answered_at: Instant | None
    """When it last did."""
    version: str | None
    share: ShareSettings | None
    troubles: tuple[TroubleTold, ...]
    """What ails it, by its last answer."""


class PlaceSeen(Word):
    """An enclosure, or a room with probes, with what its owner tells or last told."""

    id: Identifier
    kind: Literal["enclosure", "room"]
    name: Name
    timezone: TimeZone
    watch: Watch
    owners: tuple[Identifier, ...]
    """The daemon that watches it, or last did; several where they claim it."""
    page: str | None
    """Its page at its owner; null where nobody ever answered for it."""
    says: str | None
    """What is wrong with its watch, in a sentence."""
    as_of: Instant | None
    """When its owner told this; null if it never did."""
    alarms: tuple[AlarmTold, ...]
    probes: tuple[ProbeTold, ...]


class House(Word):
    """The whole house, those places that need a hand first."""

    at: Instant
    daemon: Identifier
    """The one that was asked."""
    says: Annotated[str, Field(examples=["12 enclosures: none needs a hand."])]
    daemons: tuple[DaemonSeen, ...]
    places: tuple[PlaceSeen, ...]


def whole(own: Told, peers: Sequence[Asked], placed: Setup, begun_ms: int, now_ms: int) -> House:
    """The house as one daemon sees it.

    Args:
        own: what the daemon itself watches.
        peers: the others.
        placed: all that is set up, whoever watches it.
        begun_ms: since when the others are asked.
        now_ms: epoch milliseconds.
    """
    merging = _Merging(own, peers, placed, begun_ms, now_ms)
    places = sorted(merging.places(), key=_urgency)
    return House(
        at=now_ms,
        daemon=own.daemon,
        says=_headline(places, peers),
        daemons=(_itself(own), *(merging.daemon(each) for each in peers)),
        places=tuple(places),
    )


def address(place_id: str, kind: str) -> str:
    """The path of a place's page at its owner; a room has its probes only."""
    return f"/enclosures/{place_id}" if kind == "enclosure" else f"/rooms/{place_id}/probes"


def worth_watching(placed: Setup) -> Iterator[Room | Enclosure]:
    """What has to have an owner: every enclosure, and rooms with probes of their own."""
    yield from placed.enclosure
    yield from (room for room in placed.room if room.probe)


class _Merging:
    """Finds out of each place who answers for it, and of each daemon how it does."""

    def __init__(
        self, own: Told, peers: Sequence[Asked], placed: Setup, begun_ms: int, now_ms: int
    ) -> None:
        self._own = own
        self._begun_ms = begun_ms
        self._now_ms = now_ms
        self._whereabouts = whereabouts(placed)
        self._here = {each.id: each for each in worth_watching(placed)}
        self._urls = {peer.name: peer.url for peer in peers}
        told = [_Part(peer.told, peer.answered_ms or 0) for peer in peers if peer.told]
        answering = {peer.name for peer in peers if peer.answers}
        self._parts = [
            _Part(own, now_ms),
            *(each for each in told if each.told.daemon in answering),
        ]
        self._last = sorted(
            (each for each in told if each.told.daemon not in answering),
            key=lambda part: -part.as_of_ms,
        )
        self._silent = [peer for peer in peers if not peer.answers]

    def places(self) -> Iterator[PlaceSeen]:
        """Every place that is set up here or was ever told of, in no particular order."""
        told = (place for part in (*self._parts, *self._last) for place in part.places)
        return map(self._place, dict.fromkeys([*self._here, *told]))

    def daemon(self, peer: Asked) -> DaemonSeen:
        """One of the others."""
        told = peer.told
        return DaemonSeen(
            name=peer.name,
            url=peer.url,
            answers=peer.answers,
            says=None if peer.answers else self._silence(peer),
            answered_at=peer.answered_ms,
            version=told.version if told else None,
            share=told.share if told else None,
            troubles=told.troubles if told else (),
        )

    def _place(self, place_id: str) -> PlaceSeen:
        holders = [part for part in self._parts if place_id in part.places]
        if len(holders) > 1:
            names = words.listed([part.told.daemon for part in holders])
            return self._seen(place_id, Watch.CLAIMED, holders, words.CLAIMED.format(names))
        if holders:
            strange = words.NOT_KNOWN_HERE.format(self._own.daemon)
            says = None if place_id in self._here else strange
            return self._seen(place_id, Watch.WATCHED, holders, says)
        last = [part for part in self._last if place_id in part.places][:1]
        says = self._since(place_id, last[0]) if last else self._why_nobody(place_id)
        return self._seen(place_id, Watch.UNWATCHED, last, says)

    def _seen(
        self, place_id: str, watch: Watch, parts: Sequence["_Part"], says: str | None
    ) -> PlaceSeen:
        told = [part.places[place_id] for part in parts]
        here = self._here.get(place_id)
        # What is set up here has a kind, a name and a clock though nobody ever told of it.
        enclosure = isinstance(here, Enclosure) if here else told[0].kind == "enclosure"
        kind: Literal["enclosure", "room"] = "enclosure" if enclosure else "room"
        page = None
        if parts:
            page = self._urls.get(parts[0].told.daemon, "") + address(place_id, kind)
        return PlaceSeen(
            id=place_id,
            kind=kind,
            name=here.name if here else told[0].name,
            timezone=str(self._whereabouts[place_id].zone) if here else told[0].timezone,
            watch=watch,
            owners=tuple(part.told.daemon for part in parts),
            page=page,
            says=says,
            as_of=parts[0].as_of_ms if parts else None,
            alarms=_united([each.alarms for each in told]),
            probes=told[0].probes if told else (),
        )

    def _since(self, place_id: str, last: "_Part") -> str:
        here = self._whereabouts.get(place_id)
        zone = here.zone if here else ZoneInfo(last.places[place_id].timezone)
        since = clock(last.as_of_ms, zone, self._now_ms)
        return words.NOBODY_SINCE.format(since, words.silence([last.told.daemon]))

    def _why_nobody(self, place_id: str) -> str:
        """Why nobody ever answered for a place that is set up, as far as it can be known here."""
        suspects = [
            peer.name for peer in self._silent if peer.told is None or peer.told.share.has(place_id)
        ]
        if suspects:
            begun = clock(self._begun_ms, self._whereabouts[place_id].zone, self._now_ms)
            return words.NOBODY_YET.format(self._own.daemon, begun, words.silence(suspects))
        lacking = [part.told.daemon for part in self._parts[1:] if part.told.share.has(place_id)]
        if lacking:
            return words.NOT_SET_UP_THERE.format(words.listed(lacking))
        return words.NOBODYS

    def _silence(self, peer: Asked) -> str:
        why, zone = peer.why_not or words.NOT_ASKED_YET, self._whereabouts[DAEMON].zone
        if peer.answered_ms is not None:
            since = clock(peer.answered_ms, zone, self._now_ms)
            return words.SILENT_SINCE.format(peer.name, since, why)
        begun = clock(self._begun_ms, zone, self._now_ms)
        return words.NEVER_ANSWERED.format(peer.name, self._own.daemon, begun, why)


class _Part:
    """What one daemon told, and when, by our clock."""

    def __init__(self, told: Told, as_of_ms: int) -> None:
        self.told = told
        self.as_of_ms = as_of_ms
        self.places: Mapping[str, PlaceTold] = {place.id: place for place in told.places}


def _itself(own: Told) -> DaemonSeen:
    return DaemonSeen(
        name=own.daemon,
        url=None,
        answers=True,
        says=None,
        answered_at=own.at,
        version=own.version,
        share=own.share,
        troubles=own.troubles,
    )


def _united(several: Sequence[Sequence[AlarmTold]]) -> tuple[AlarmTold, ...]:
    """Each alarm once; where one daemon's keeper has seen it and another's has not, not seen."""
    found: dict[str, AlarmTold] = {}
    for alarm in (each for alarms in several for each in alarms):
        if alarm.id not in found or alarm.state in WAITING:
            found[alarm.id] = alarm
    return tuple(found.values())


def _urgency(place: PlaceSeen) -> tuple[int, int, str, str]:
    watch = list(Watch).index(place.watch)
    return watch, min(map(_loudness, place.alarms), default=4), place.name.casefold(), place.id


def _loudness(alarm: AlarmTold) -> int:
    """How loudly an alarm calls: from 0, a critical one that nobody has seen, to 4, not at all."""
    match alarm.state:
        case State.UNACKNOWLEDGED:
            return 0 if alarm.priority is Priority.CRITICAL else 1
        case State.RETURNED:
            return 2
        case State.SUPPRESSED:
            return 4
    return 3


def _headline(places: Sequence[PlaceSeen], peers: Sequence[Asked]) -> str:
    def named(watch: Watch) -> list[str]:
        return [each.name for each in places if each.watch is watch]

    def loud(*loudness: int) -> list[str]:
        answered = (each for each in places if each.watch is not Watch.UNWATCHED)
        return [each.name for each in answered if _urgency(each)[1] in loudness]

    return words.headline(
        sum(each.kind == "enclosure" for each in places),
        silent=[peer.name for peer in peers if not peer.answers],
        unwatched=named(Watch.UNWATCHED),
        claimed=named(Watch.CLAIMED),
        calling=loud(0, 1),
        back=loud(2),
        seen=loud(3),
    )
