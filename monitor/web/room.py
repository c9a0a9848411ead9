"""What the room page shows, worked out from what is known; no clock, no database, no markup."""

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from monitor.alarms.notices import whereabouts
from monitor.setup.models import Enclosure, Room, RoomProbe
from monitor.store.readings import SeriesKey
from monitor.web import words
from monitor.web.calls import AlarmView, Call, alarm_views
from monitor.web.enclosure import EnclosureView, enclosure_view
from monitor.web.known import Known


@dataclass(frozen=True, slots=True)
class RoomNotice:
    """Open alarms of a room's own probes."""

    id: str
    name: str
    call: Call
    alarms: tuple[AlarmView, ...]


@dataclass(frozen=True, slots=True)
class RoomView:
    """The whole page; ``rooms`` names each room with its air."""

    headline: str
    as_of: str
    rooms: tuple[str, ...]
    troubles: tuple[str, ...]
    places: tuple[RoomNotice | EnclosureView, ...]
    """Every enclosure, and the rooms with an open alarm, the loudest call first."""
    empty: bool
    """Whether no enclosure is set up yet."""


def room_view(
    known: Known, view: Callable[[Enclosure, Known], EnclosureView] = enclosure_view
) -> RoomView:
    """The page for what is known, those that call for the keeper first; ``view`` may remember."""
    places: list[RoomNotice | EnclosureView] = [*_notices(known)]
    places += (view(each, known) for each in known.setup.enclosure)
    places.sort(key=lambda place: (place.call, place.name.casefold(), place.id))
    calling, back, seen = (
        [place.name for place in places if place.call in calls]
        for calls in ((Call.AT_ONCE, Call.TODAY), (Call.BACK,), (Call.SEEN,))
    )
    return RoomView(
        headline=words.headline(len(known.setup.enclosure), calling, back, seen),
        as_of=_as_of(known),
        rooms=tuple(_air(room, known) for room in known.setup.room),
        troubles=tuple(known.troubles),
        places=tuple(places),
        empty=not known.setup.enclosure,
    )


def _notices(known: Known) -> Iterator[RoomNotice]:
    places = whereabouts(known.setup)
    for room in known.setup.room:
        alarms = alarm_views(known.of_place.get(room.id, ()), places[room.id].zone, known.now_ms)
        if alarms:
            yield RoomNotice(room.id, room.name, alarms[0].call, alarms)


def _as_of(known: Known) -> str:
    """The time of the page by the enclosures' clock; by UTC, said so, where they differ."""
    zones = {enclosure.timezone: enclosure.zone_info for enclosure in known.setup.enclosure}
    if len(zones) == 1:
        (zone,) = zones.values()
        return f"{dt.datetime.fromtimestamp(known.now_ms / 1000, zone):%H:%M}"
    return f"{dt.datetime.fromtimestamp(known.now_ms / 1000, dt.UTC):%H:%M} UTC"


def _air(room: Room, known: Known) -> str:
    """The room's name and what its first probe that is not silent says."""
    for probe in room.probe:
        air = [*_values(room, probe, known)]
        if air:
            return words.ROOM_AIR.format(room.name, ", ".join(air))
    return room.name


def _values(room: Room, probe: RoomProbe, known: Known) -> Iterator[str]:
    for quantity in words.AIR:
        reading = known.latest.get(SeriesKey(room.id, probe.id, quantity))
        if reading is not None and known.now_ms - reading.at_ms <= probe.silence_ms:
            yield known.units.text(quantity, reading.value)
