"""The enclosure cut open: its own layers, drawn from what is known of it.

Every enclosure has glass, air and ground. A canopy, a floor of litter, a deep substrate, a warm and
a cool side and a basking spot are drawn where it has a probe in them; plants and crew where they
live in it. The same enclosure always looks the same.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from random import Random
from typing import NamedTuple
from zlib import crc32

from monitor.setup.models import Zone
from monitor.web.measure import Shape

WIDTH, HEIGHT = 240, 220
GROUND = {True: 156, False: 184}
"""How far below the top the ground begins, with and without a substrate that is watched."""
PIN_STEP = 22.0
FEWEST_PLANTS = 4


class Path(NamedTuple):
    """One painted shape; ``kind`` is its class in the style sheet."""

    kind: str
    d: str


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
    """A drawing in its own units, WIDTH by HEIGHT."""

    lit: bool
    arid: bool
    paths: tuple[Path, ...]
    troubled: tuple[Patch, ...]
    pins: tuple[Pin, ...]


@lru_cache(maxsize=4096)
def cut(
    seed: str,
    zones: tuple[tuple[Zone, str, Shape], ...],
    plants: tuple[str, ...],
    crew: int,
    *,
    lit: bool,
) -> Cut:
    """Draw an enclosure; it is remembered, for it changes only when a zone's standing does.

    Args:
        seed: what makes this one different from others, such as its id.
        zones: each zone that is watched with its name and how it stands.
        plants: the species of plants in it; each grows in a way of its own.
        crew: how many species of crew live in it.
        lit: whether its lamp is on.
    """
    random = Random(seed)  # noqa: S311 - a picture, not a secret
    watched = {zone for zone, _, _ in zones}
    ground = GROUND[Zone.SUBSTRATE in watched]
    arid = not plants
    return Cut(
        lit=lit,
        arid=arid,
        paths=(
            *_light_and_warmth(watched, ground, lit=lit),
            *_plants(random, plants, ground),
            *(_branch(ground) if Zone.CANOPY in watched and arid else ()),
            *_ground(random, ground),
            *(_stones(random, ground) if arid or Zone.BASKING in watched else ()),
            *(_shelter(ground) if Zone.COOL in watched else ()),
            *(_litter(random, ground) if not arid else ()),
            *_crew(random, ground, crew),
        ),
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


def _light_and_warmth(watched: set[Zone], ground: float, *, lit: bool) -> Iterator[Path]:
    if lit and Zone.BASKING in watched:
        yield Path("beam", f"M52,0 H76 L116,{ground} H12 Z")
    if Zone.WARM in watched:
        for reach in (112, 84, 56):
            yield Path(
                "warmth", f"M0,{ground - reach} Q{reach},{ground - reach} {reach},{ground} H0 Z"
            )


def _plants(random: Random, species: Sequence[str], ground: float) -> Iterator[Path]:
    """A few of each kind, the far ones first, so that the near ones stand before them."""
    each = max(FEWEST_PLANTS // (2 * len(species)), 1) if species else 0
    stands = [(kind, far) for far in (True, False) for kind in species for _ in range(each)]
    near = len(stands) // 2
    for number, (kind, far) in enumerate(stands):
        place = (number % near + random.uniform(0.3, 0.7)) / near
        foot = 70 + 150 * place
        grow = GROWTHS[crc32(kind.encode()) % len(GROWTHS)]
        yield from grow(random, foot, ground, 0.8 if far else 1.0, " far" if far else "")


def _climber(random: Random, foot: float, ground: float, size: float, far: str) -> Iterator[Path]:
    """A stem that leans, with leaves in pairs that grow smaller towards its tip."""
    lean, height = random.uniform(-30, 30), random.uniform(0.72, 0.9) * size * ground
    tip, bend = foot + lean, foot - lean / 2
    yield Path(
        f"stem{far}",
        f"M{foot:.1f},{ground + 3} "
        f"Q{bend:.1f},{ground - height / 2:.1f} {tip:.1f},{ground - height:.1f}",
    )
    for number in range(9):
        t = 0.14 + 0.86 * number / 8
        x = (1 - t) ** 2 * foot + 2 * t * (1 - t) * bend + t * t * tip
        y = ground + 3 - t * (height + 3)
        length = size * (27 - 13 * t + random.uniform(-2, 2))
        for side, shade in ((-1, ""), (1, " pale")):
            fall = random.uniform(-0.15, 0.5)
            yield _leaf(f"leaf{shade}{far}", x, y, side * length, -fall * length)


def _rosette(random: Random, foot: float, ground: float, size: float, far: str) -> Iterator[Path]:
    """Long leaves from one foot, fanned out, the upright ones behind."""
    leaves = 9
    fan = sorted(range(leaves), key=lambda n: -abs(n - leaves // 2), reverse=True)
    for number in fan:
        angle = math.radians(22 + 136 * number / (leaves - 1) + random.uniform(-5, 5))
        length = size * random.uniform(50, 66) * (0.75 + 0.25 * math.sin(angle))
        shade = " pale" if number % 2 else ""
        yield _leaf(
            f"leaf{shade}{far}",
            foot,
            ground + 3,
            length * math.cos(angle),
            -length * math.sin(angle),
            belly=0.16,
        )


def _hanger(random: Random, foot: float, _ground: float, size: float, far: str) -> Iterator[Path]:
    """A vine that hangs down from above, its leaves drooping by turns to either side."""
    length = size * random.uniform(64, 92)
    sway = random.uniform(-14, 14)
    yield Path(
        f"stem{far}", f"M{foot:.1f},0 Q{foot + sway:.1f},{length / 2:.1f} {foot:.1f},{length:.1f}"
    )
    for number in range(8):
        t = (number + 0.6) / 8
        x = foot + 2 * t * (1 - t) * sway
        side = -1 if number % 2 else 1
        shade = " pale" if number % 3 == 0 else ""
        yield _leaf(f"leaf{shade}{far}", x, t * length, side * 15 * size, 15 * size, belly=0.55)


GROWTHS = (_climber, _rosette, _hanger)


def _leaf(kind: str, x: float, y: float, dx: float, dy: float, belly: float = 0.42) -> Path:
    """From its foot to its tip and back, bellied to both sides."""
    middle_x, middle_y = x + dx * 0.45, y + dy * 0.45
    across_x, across_y = -dy * belly, dx * belly
    return Path(
        kind,
        f"M{x:.1f},{y:.1f} "
        f"Q{middle_x + across_x:.1f},{middle_y + across_y:.1f} {x + dx:.1f},{y + dy:.1f} "
        f"Q{middle_x - across_x:.1f},{middle_y - across_y:.1f} {x:.1f},{y:.1f} Z",
    )


def _branch(ground: float) -> Iterator[Path]:
    yield Path(
        "wood",
        f"M92,{ground + 4} Q150,{ground - 60} 222,38 L226,44 Q166,{ground - 50} 108,{ground + 4} Z",
    )


def _shelter(ground: float) -> Iterator[Path]:
    """A piece of bark to hide under."""
    yield Path("wood", f"M158,{ground + 4} a34,29 0 0 1 68,0 h-9 a25,20 0 0 0 -50,0 Z")


def _ground(random: Random, ground: float) -> Iterator[Path]:
    """Layer upon layer, each with a wavy top, the lowest for drainage."""
    depth = HEIGHT - ground
    for kind, share in (("soil top", 0.0), ("soil", 0.28), ("soil deep", 0.62)):
        phase, swell = random.uniform(0, 6), random.uniform(1.5, 3.0)
        crest = " ".join(
            f"L{x},{ground + share * depth + swell * math.sin(phase + x / 26):.1f}"
            for x in range(0, WIDTH + 1, 12)
        )
        yield Path(kind, f"M0,{HEIGHT} {crest} L{WIDTH},{HEIGHT} Z")
    for x in range(6, WIDTH, 13):
        radius = random.uniform(2.2, 3.8)
        yield _ellipse("pebble", x + random.uniform(-2, 2), HEIGHT - radius - 1, radius, radius)


def _stones(random: Random, ground: float) -> Iterator[Path]:
    """Two flat ones, the smaller on the larger."""
    for x, width, rise in ((92, 66, 8.0), (104, 40, 19.0)):
        top = ground - rise - random.uniform(0, 2)
        yield Path(
            "stone", f"M{x},{top + 12:.1f} l5,-10 {width - 14},-2 9,8 -3,6 -{width - 12},2 Z"
        )


def _litter(random: Random, ground: float) -> Iterator[Path]:
    for x in range(2, WIDTH - 12, 9):
        y = ground + random.uniform(-4, 3)
        kind = random.choice(("litter", "litter pale"))
        yield _leaf(kind, x, y, random.uniform(11, 18), random.uniform(-6, 6))


def _crew(random: Random, ground: float, species: int) -> Iterator[Path]:
    for _ in range(7 * species):
        x, y = random.uniform(8, WIDTH - 8), random.uniform(ground + 8, HEIGHT - 14)
        yield _ellipse("crew", x, y, 2.3, 1.3)


def _ellipse(kind: str, x: float, y: float, rx: float, ry: float) -> Path:
    return Path(
        kind,
        f"M{x - rx:.1f},{y:.1f} a{rx:.1f},{ry:.1f} 0 1 0 {2 * rx:.1f},0 "
        f"a{rx:.1f},{ry:.1f} 0 1 0 -{2 * rx:.1f},0 Z",
    )


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
