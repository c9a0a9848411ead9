"""What the house page shows: every place, whoever watches it; no clock, no database, no markup.

How a place is, is judged here by the set-up, as on the room page of its owner; what stands and what
was measured is what its owner tells.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple
from zoneinfo import ZoneInfo

from monitor.alarms.model import Alarm, PointKey
from monitor.alarms.wording import clock
from monitor.house.told import AlarmTold, TroubleTold
from monitor.house.whole import DaemonSeen, House, PlaceSeen, Watch
from monitor.setup.models import Enclosure, Probe, Setup
from monitor.store.readings import Latest, SeriesKey
from monitor.web import house_words, words
from monitor.web.calls import AlarmView, Call
from monitor.web.enclosure import Glance, Stratum, glance
from monitor.web.known import Known
from monitor.web.measure import Shape

Look = Callable[[Enclosure, Known], Glance]

_TROUBLES = {
    "broker": words.NO_BROKER,
    "store": words.NO_STORE,
    "channels": house_words.NO_CHANNELS_LEAVE,
}


class AlarmShown(NamedTuple):
    """An alarm, how soon it wants a hand, and why it is."""

    view: AlarmView
    priority: str
    standing: bool
    cause: str | None


class StratumShown(NamedTuple):
    """One probe's values, and how old the newest is."""

    stratum: Stratum
    age: str | None


@dataclass(frozen=True, slots=True)
class PlaceShown:
    """One place; ``calls`` orders the page, ``owner`` is said in words."""

    id: str
    name: str
    owner: str
    address: str | None
    watch: Watch
    call: Call
    shape: Shape
    title: str
    says: Sequence[str]
    alarms: Sequence[AlarmShown]
    strata: Sequence[StratumShown]
    last_known: str | None
    """Said above what is shown, where that is no longer so."""


class DaemonShown(NamedTuple):
    """One daemon of the house."""

    name: str
    address: str | None
    shape: Shape
    share: str
    says: str


@dataclass(frozen=True, slots=True)
class HouseView:
    """The whole page."""

    headline: str
    troubles: Sequence[str]
    places: Sequence[PlaceShown]
    daemons: Sequence[DaemonShown]


def house_view(house: House, placed: Setup, known: Known, look: Look = glance) -> HouseView:
    """The page; ``known`` lends library, units and time, no readings; ``look`` may remember."""
    here = {each.id: each for each in placed.enclosure}
    places = [_place(each, here.get(each.id), house, known, look) for each in house.places]
    order = list(Watch)
    places.sort(key=lambda each: (order.index(each.watch), each.call))  # else as they come
    return HouseView(
        headline=house.says,
        troubles=[*_troubles(house.daemons)],
        places=places,
        daemons=[_daemon(each, known.now_ms) for each in house.daemons],
    )


def _place(
    seen: PlaceSeen, here: Enclosure | None, house: House, known: Known, look: Look
) -> PlaceShown:
    zone = ZoneInfo(seen.timezone)
    set_up = here or _as_told(seen)
    latest = dict(_latest(seen))
    looked = look(set_up, replace(known, latest=latest, alarms=[*_alarms(seen)]))
    told = {each.id: each for each in seen.alarms}
    alarms = [
        AlarmShown(
            replace(view, says=told[view.id].says),
            house_words.PRIORITIES[told[view.id].priority],
            told[view.id].returned_at is None and told[view.id].withdrawn_at is None,
            told[view.id].cause,
        )
        for view in looked.alarms
    ]
    watch = seen.watch
    judged = _unjudged if watch is Watch.UNWATCHED else _as_it_is
    call, shape, title, says = _state(seen, looked, known_here=here is not None)
    return PlaceShown(
        id=seen.id,
        name=seen.name,
        owner=_owner(seen, house.daemon),
        address=seen.page,
        watch=watch,
        call=call,
        shape=shape,
        title=title,
        says=says,
        alarms=alarms,
        strata=[]
        if seen.as_of is None
        else [*_strata(set_up, [*map(judged, looked.strata)], latest, known.now_ms)],
        last_known=house_words.LAST_KNOWN.format(clock(seen.as_of, zone, known.now_ms))
        if watch is Watch.UNWATCHED and seen.as_of is not None
        else None,
    )


def _state(
    seen: PlaceSeen, looked: Glance, *, known_here: bool
) -> tuple[Call, Shape, str, list[str]]:
    """How loudly a place calls, its mark, its title and what is to be said."""
    said = [] if seen.says is None else [seen.says]
    if seen.watch is Watch.UNWATCHED:
        nothing = [] if seen.as_of is not None else [house_words.NOTHING_KNOWN]
        return Call.AT_ONCE, Shape.MISSED, seen.says or "", nothing
    if seen.watch is Watch.CLAIMED:
        return min(looked.call, Call.TODAY), Shape.MISSED, house_words.CLAIMED_TITLE, said
    if looked.alarms or (known_here and not seen.says):
        more = [] if looked.says is None else [looked.says]
        return looked.call, looked.shape, looked.title, [*said, *more]
    if seen.kind == "room":
        heard = any(stratum.measures for stratum in looked.strata)
        title = house_words.NO_ALARM_TITLE if heard else words.UNHEARD_TITLE
        return Call.CALM if heard else Call.UNKNOWN, Shape.UNSURE, title, said
    said = [house_words.OTHER_SET_UP.format(seen.says)]
    return Call.UNKNOWN, Shape.UNSURE, house_words.NO_ALARM_TITLE, said


def _as_told(seen: PlaceSeen) -> Enclosure:
    """A room, or an enclosure of another set-up, as far as its owner tells of it."""
    probes = tuple(
        Probe(id=each.probe, zone=each.zone, silent_after_s=each.silent_after_s)
        for each in seen.probes
    )
    return Enclosure.model_construct(
        id=seen.id, name=seen.name, timezone=seen.timezone, probe=probes
    )


def _latest(seen: PlaceSeen) -> Iterator[tuple[SeriesKey, Latest]]:
    for probe in seen.probes:
        for each in probe.values:
            key = SeriesKey(seen.id, probe.probe, each.quantity)
            yield key, Latest(each.at, each.value, each.reason)


def _alarms(seen: PlaceSeen) -> Iterator[Alarm]:
    for each in seen.alarms:
        yield _alarm(each, seen.id)


def _alarm(told: AlarmTold, place: str) -> Alarm:
    """The alarm that is told of, for its looks; its words, and the values in them, are told."""
    return Alarm(
        id=told.id,
        point=PointKey(place, told.probe, told.quantity, told.condition),
        zone=told.zone,
        priority=told.priority,
        state=told.state,
        since_ms=told.since,
        raised_at_ms=told.raised_at,
        value=None,
        limit=None,
        extreme=None,
        returned_at_ms=told.returned_at,
        withdrawn_at_ms=told.withdrawn_at,
        acknowledged_at_ms=told.acknowledged_at,
        acknowledged_by=told.acknowledged_by,
        shelved_until_ms=told.shelved_until,
        suppressed_because=told.suppressed_because,
    )


def _strata(
    place: Enclosure, strata: Sequence[Stratum], latest: Mapping[SeriesKey, Latest], now_ms: int
) -> Iterator[StratumShown]:
    """The strata in their order, each with the age of its newest value."""
    probes = sorted(place.probe, key=lambda probe: words.TOP_DOWN.index(probe.zone))
    for probe, stratum in zip(probes, strata, strict=True):
        newest = max(
            (each.at_ms for key, each in latest.items() if key.probe == probe.id), default=None
        )
        yield StratumShown(stratum, None if newest is None else house_words.ago(now_ms - newest))


def _as_it_is(stratum: Stratum) -> Stratum:
    return stratum


def _unjudged(stratum: Stratum) -> Stratum:
    """What nobody watches is not said to be in its range: that it was says nothing."""
    measures = tuple(replace(each, shape=Shape.UNSURE, says="") for each in stratum.measures)
    return replace(stratum, shape=Shape.UNSURE, measures=measures)


def _owner(seen: PlaceSeen, asked: str) -> str:
    if not seen.owners:
        return house_words.WATCHED_BY_NOBODY
    names = [house_words.AND_HERE.format(each) if each == asked else each for each in seen.owners]
    unwatched = seen.watch is Watch.UNWATCHED
    return (house_words.LAST_WATCHED_BY if unwatched else house_words.WATCHED_BY).format(
        words.listed(names)
    )


def _troubles(daemons: Sequence[DaemonSeen]) -> Iterator[str]:
    for each in daemons:
        if each.says is not None:
            yield each.says
    for each in daemons:
        if each.answers:
            yield from (
                house_words.OF_PEER.format(each.name, _trouble(what)) for what in each.troubles
            )


def _trouble(what: TroubleTold) -> str:
    return _TROUBLES.get(what.part, words.NO_LOOP).format(what.says)


def _daemon(seen: DaemonSeen, now_ms: int) -> DaemonShown:
    if not seen.answers:
        shape, says = Shape.MISSED, house_words.NEVER_ANSWERED
        if seen.answered_at is not None:
            says = house_words.LAST_ANSWERED.format(house_words.ago(now_ms - seen.answered_at))
    else:
        shape = Shape.MISSED if seen.troubles else Shape.INSIDE
        says = house_words.ANSWERED.format(house_words.ago(now_ms - (seen.answered_at or now_ms)))
        if seen.url is None:
            says = house_words.THIS_ONE
    return DaemonShown(
        seen.name, seen.url, shape, "" if seen.share is None else str(seen.share), says
    )
