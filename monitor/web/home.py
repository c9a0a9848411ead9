"""Where a probe hangs: an enclosure or a room, with its address and its clock."""

import datetime as dt
from dataclasses import dataclass

from monitor.alarms.notices import whereabouts
from monitor.api.parts import Parts
from monitor.errors import NotFound
from monitor.setup.models import Enclosure, Probe, Room
from monitor.store.sqlite.state import setup
from monitor.web.climate import named
from monitor.web.shell import Place


@dataclass(frozen=True, slots=True)
class Home:
    """A place with probes; ``zone`` is that of its clock."""

    place: Enclosure | Room
    zone: dt.tzinfo
    room: Room | None
    """The room that an enclosure stands in."""

    @property
    def address(self) -> str:
        """Where its pages begin; a room has its probes only."""
        kind = "enclosures" if isinstance(self.place, Enclosure) else "rooms"
        return f"/{kind}/{self.place.id}"

    @property
    def shelf(self) -> Place | None:
        """What the shell shows of it: an enclosure has parts to go to."""
        if isinstance(self.place, Enclosure):
            return Place(self.place.id, self.place.name)
        return None

    def probe(self, probe: str) -> Probe:
        """One of its probes.

        Raises:
            NotFound: it has no such probe.
        """
        for each in self.place.probe:
            if each.id == probe:
                return each
        raise NotFound(f"{self.place.id!r} has no probe {probe!r}")

    def name(self, probe: Probe) -> str:
        """What one of its probes is called there."""
        return named(self.place, probe)


def home_of(parts: Parts, place_id: str) -> Home:
    """The enclosure or room with an id.

    Raises:
        NotFound: there is none.
    """
    with parts.database.reading() as connection:
        place = setup.get(connection, place_id).place
        placed = setup.everything(connection)
    room = None
    if isinstance(place, Enclosure):
        room = next((each for each in placed.room if each.id == place.room), None)
    return Home(place, whereabouts(placed)[place.id].zone, room)
