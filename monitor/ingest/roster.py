"""The set-up as the ingest needs it: who publishes where, and which series that becomes."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from monitor.errors import NotFound
from monitor.ingest.payload import Decoder, decoder_for
from monitor.ingest.payload.decoded import Decoded, Number
from monitor.ingest.topics import Template
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Room, RoomProbe, Setup, devices_of
from monitor.setup.sources import Source
from monitor.store.readings import SeriesKey

SeriesIds = Callable[[Sequence[SeriesKey]], list[int]]


TOGETHER_MS = 10_000
"""Readings of two topics of one probe are one measurement if they come within this, or within a
quarter of its period. Own judgement: far below the seconds that such a sensor itself takes."""


@dataclass(slots=True)
class Position:
    """A probe in its place, with the ids of the series it has given so far."""

    place: str
    probe: Probe
    series: dict[Quantity, int] = field(default_factory=dict)
    _since_ms: int = 0
    _given: set[Quantity] = field(default_factory=set)

    def together(self, numbers: Iterable[Number], arrival_ms: int) -> list[Number]:
        """Readings without a time of their own, dated as the other quantities just before them.

        Temperature and humidity that come one by one belong together: what follows from the two
        is worked out for the times that both have.
        """
        numbers = list(numbers)
        within_ms = min(TOGETHER_MS, 250 * self.probe.period_s)
        late = not 0 <= arrival_ms - self._since_ms <= within_ms
        if late or any(quantity in self._given for quantity, _, _ in numbers):
            self._since_ms, self._given = arrival_ms, set()
        self._given.update(quantity for quantity, _, _ in numbers)
        return [(quantity, self._since_ms, value) for quantity, _, value in numbers]


@dataclass(frozen=True, slots=True)
class Route:
    """What to do with the messages of one topic."""

    position: Position
    decode: Decoder
    timeless: bool = False
    """Whether its messages never hold a time."""


class Stranger(NamedTuple):
    """A topic that leads to no probe: what it names, as far as a source reads it, and why not."""

    says: str
    place: str = ""
    probe: str = ""
    device: str = ""


NOTHING = Setup()
ELSEWHERE = Route(
    Position("elsewhere", RoomProbe(id="any")), lambda _payload, _arrival_ms: Decoded(())
)
"""For messages that are another daemon's."""


class Roster:
    """All probes of a set-up by their address, and the way from a topic to a probe.

    ``elsewhere`` is what another daemon watches: its messages are left alone.
    """

    def __init__(
        self,
        setup: Setup,
        sources: Sequence[Source],
        known: Mapping[SeriesKey, int],
        elsewhere: Setup = NOTHING,
    ) -> None:
        self._elsewhere = {
            (place.id, probe.id) for place in elsewhere.places for probe in place.probe
        }
        self._devices = devices_of((*setup.places, *elsewhere.places))
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
        if known is not None:
            return known
        found = self._find(topic)
        if isinstance(found, Stranger):
            # Not remembered: such topics may be made up without end.
            raise NotFound(found.says)
        self._routes[topic] = found
        return found

    def stranger(self, topic: str) -> Stranger | None:
        """What is known of a topic that leads to no probe; None of one that does."""
        found = self._find(topic)
        return found if isinstance(found, Stranger) else None

    def _find(self, topic: str) -> Route | Stranger:
        stranger = None
        for template, source in self._templates:
            match = template.match(topic)
            if match is None:
                continue
            place, probe = match.place, match.probe
            if match.device:
                # What a source lists holds for its own topics, so it comes first.
                listed = source.devices.get(match.device) or self._devices.get(match.device, "")
                place, _, probe = listed.partition("/")
            position = self.positions.get((place, probe))
            if position is not None:
                decode = decoder_for(source, match.quantity)
                return Route(position, decode, source.timeless)
            if (place, probe) in self._elsewhere:
                return ELSEWHERE
            stranger = stranger or self._stranger(place, probe, match.device)
        return stranger or Stranger("no source reads this topic")

    def _stranger(self, place: str, probe: str, device: str) -> Stranger:
        if not place:
            return Stranger(f"no probe has the device {device!r}", device=device)
        if place not in self.places:
            return Stranger(f"no room or enclosure {place!r} is set up", place, probe, device)
        return Stranger(f"{place!r} has no probe {probe!r}", place, probe, device)
