"""The set-up as the ingest needs it: who publishes where, and which series that becomes."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field

from monitor.errors import NotFound
from monitor.ingest.payload import Decoder, decoder_for
from monitor.ingest.payload.decoded import Decoded
from monitor.ingest.topics import Template
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Room, RoomProbe, Setup
from monitor.setup.sources import Source
from monitor.store.readings import SeriesKey

SeriesIds = Callable[[Sequence[SeriesKey]], list[int]]


@dataclass(slots=True)
class Position:
    """A probe in its place, with the ids of the series it has given so far."""

    place: str
    probe: Probe
    series: dict[Quantity, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Route:
    """What to do with the messages of one topic."""

    position: Position
    decode: Decoder


ELSEWHERE = Route(
    Position("elsewhere", RoomProbe(id="any")), lambda _payload, _arrival_ms: Decoded(())
)
"""For messages that are another daemon's."""


class Roster:
    """All probes of a set-up by their address, and the way from a topic to a probe.

    ``elsewhere`` are addresses that another daemon watches: their messages are left alone.
    """

    def __init__(
        self,
        setup: Setup,
        sources: Sequence[Source],
        known: Mapping[SeriesKey, int],
        elsewhere: Collection[tuple[str, str]] = (),
    ) -> None:
        self._elsewhere = elsewhere
        self.places: dict[str, Room | Enclosure] = {place.id: place for place in setup.places}
        self.positions: dict[tuple[str, str], Position] = {
            (place.id, probe.id): Position(place.id, probe)
            for place in self.places.values()
            for probe in place.probe
        }
        for key, series in known.items():
            position = self.positions.get((key.place, key.probe))
            if position is not None:
                position.series[key.quantity] = series
        self._templates = [(Template(source), source) for source in sources]
        self._routes: dict[str, Route] = {}

    def route(self, topic: str) -> Route:
        """Where the messages of a topic belong.

        Raises:
            NotFound: no source reads this topic, or it names a probe that is not set up.
        """
        known = self._routes.get(topic)
        if known is None:
            known = self._find(topic)
            # Only topics of known probes are remembered: others may be made up without end.
            self._routes[topic] = known
        return known

    def _find(self, topic: str) -> Route:
        missing = ""
        for template, source in self._templates:
            match = template.match(topic)
            if match is None:
                continue
            position = self.positions.get((match.place, match.probe))
            if position is not None:
                return Route(position, decoder_for(source, match.quantity))
            if (match.place, match.probe) in self._elsewhere:
                return ELSEWHERE
            missing = missing or self._says(match.place, match.probe)
        raise NotFound(missing or "no source reads this topic")

    def _says(self, place: str, probe: str) -> str:
        if place not in self.places:
            return f"no room or enclosure {place!r} is set up"
        return f"{place!r} has no probe {probe!r}"
