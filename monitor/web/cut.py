"""The enclosure cut open: its scenery, and over it where each zone is and how it stands."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from monitor.setup.models import Zone
from monitor.web.measure import Shape
from monitor.web.scenery import HEIGHT, WIDTH

PIN_STEP = 22.0


class Pin(NamedTuple):
    """Where a zone is, with the mark of how it stands."""

    x: float
    y: float
    name: str
    shape: Shape


class Patch(NamedTuple):
    """The extent of a zone that is out of its range."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Cut:
    """What lies over the scenery, in its units."""

    troubled: tuple[Patch, ...]
    pins: tuple[Pin, ...]


@lru_cache(maxsize=4096)
def cut(zones: tuple[tuple[Zone, str, Shape], ...], ground: float) -> Cut:
    """Mark each zone that is watched, given with its name and how it stands."""
    return Cut(
        troubled=tuple(
            _extent(zone, ground) for zone, _, shape in zones if shape in (Shape.BELOW, Shape.ABOVE)
        ),
        pins=_pins(zones, ground),
    )


def _pins(zones: Sequence[tuple[Zone, str, Shape]], ground: float) -> tuple[Pin, ...]:
    """One for each probe; a second one in the same zone stands below the first."""
    taken: Counter[Zone] = Counter()
    pins = []
    for zone, name, shape in zones:
        x, y = _place(zone, ground)
        pins.append(Pin(x, y + PIN_STEP * taken[zone], name, shape))
        taken[zone] += 1
    return tuple(pins)


def _place(zone: Zone, ground: float) -> tuple[float, float]:
    """Where a zone's pin stands."""
    return {
        Zone.CANOPY: (17.0, 24.0),
        Zone.BASKING: (17.0, ground - 58),
        Zone.WARM: (17.0, ground - 33),
        Zone.COOL: (146.0, ground - 48),
        Zone.FLOOR: (17.0, ground - 8),
        Zone.SUBSTRATE: (17.0, ground + 34),
        Zone.ROOM: (17.0, 14.0),
    }[zone]


def _extent(zone: Zone, ground: float) -> Patch:
    """The part of the drawing that a zone takes in."""
    return {
        Zone.CANOPY: Patch(1, 1, WIDTH - 2, ground * 0.5),
        Zone.BASKING: Patch(12, ground - 78, 104, 78),
        Zone.WARM: Patch(1, ground - 96, WIDTH / 2 - 1, 96),
        Zone.COOL: Patch(WIDTH / 2, ground - 96, WIDTH / 2 - 1, 96),
        Zone.FLOOR: Patch(1, ground - 30, WIDTH - 2, 36),
        Zone.SUBSTRATE: Patch(1, ground + 6, WIDTH - 2, HEIGHT - ground - 7),
        Zone.ROOM: Patch(1, 1, WIDTH - 2, HEIGHT - 2),
    }[zone]
