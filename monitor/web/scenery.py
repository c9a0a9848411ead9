"""The scenery of an enclosure: its light, plants, ground and crew, drawn as a picture of its own.

Every enclosure has glass, air and ground. A litter floor, a deep substrate, a warm and a cool side
and a basking spot are drawn where it has a probe in them; plants and crew where they live in it.
The same enclosure always looks the same, so a browser may keep its picture.
"""

import math
from collections.abc import Iterator, Sequence
from functools import lru_cache
from pathlib import Path as File
from random import Random
from typing import NamedTuple
from zlib import crc32

from monitor.setup.models import Zone

WIDTH, HEIGHT = 240, 220
GROUND = {True: 156, False: 184}
"""How far below the top the ground begins, with and without a substrate that is watched."""
FEWEST_PLANTS = 4

_DRAWN_BY = crc32(File(__file__).read_bytes())


class Path(NamedTuple):
    """One painted shape; ``kind`` says what it is, and so its colour."""

    kind: str
    d: str


class Scene(NamedTuple):
    """What there is to draw.

    ``seed`` makes it different from others; ``plants`` are species, each grows in a way of its own;
    ``crew`` is how many species of crew there are; ``lit`` whether the lamp is on.
    """

    seed: str
    watched: frozenset[Zone]
    plants: tuple[str, ...]
    crew: int
    lit: bool

    @property
    def ground(self) -> float:
        """How far below the top the ground begins."""
        return GROUND[Zone.SUBSTRATE in self.watched]

    @property
    def version(self) -> str:
        """Changes when the picture does."""
        return f"{crc32(repr((sorted(self.watched), *self[2:])).encode(), _DRAWN_BY):08x}"


_PAINT = {
    "air": "#dfe6d3",
    "stem": "#6b5236",
    "leaf": "#3f6b3c",
    "leaf pale": "#5a864c",
    "stem far": "#a09f84",
    "leaf far": "#93ad86",
    "leaf pale far": "#a4bb95",
    "wood": "#6f5238",
    "soil": "#5a4330",
    "soil top": "#6d513a",
    "soil deep": "#46342a",
    "pebble": "#8e8878",
    "stone": "#7b7d7c",
    "litter": "#a4733a",
    "litter pale": "#c08f52",
    "crew": "#d9d2c0",
    "warmth": "#d9794a",
    "beam": "#ffe9a8",
}
_ARID = {"air": "#eee3c8", "soil": "#a98a5e", "soil top": "#bfa071", "soil deep": "#8b6f4b"}
_DARK = {
    "air": "#22303a",
    "leaf": "#33543a",
    "leaf pale": "#426a49",
    "leaf far": "#2b4241",
    "leaf pale far": "#304a48",
    "stem far": "#3b4744",
}
_OPACITY = {"warmth": 0.17, "beam": 0.55}


@lru_cache(maxsize=1024)
def picture(scene: Scene) -> str:
    """The scene as an SVG document; its colours are in it, for pictures know no style sheet."""
    paint = _PAINT | (_ARID if not scene.plants else {}) | ({} if scene.lit else _DARK)
    groups: list[str] = []
    last = None
    for kind, d in paths(scene):
        if kind != last:
            groups.append(f"{'</g>' if groups else ''}<g {_painted(kind, paint[kind])}>")
            last = kind
        groups.append(f'<path d="{d}"/>')
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}">'
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="{paint["air"]}"/>'
        f"{''.join(groups)}</g></svg>"
    )


def _painted(kind: str, colour: str) -> str:
    if kind.startswith("stem"):
        return f'fill="none" stroke="{colour}" stroke-width="2.6" stroke-linecap="round"'
    opacity = f' fill-opacity="{_OPACITY[kind]}"' if kind in _OPACITY else ""
    return f'fill="{colour}"{opacity}'


def paths(scene: Scene) -> tuple[Path, ...]:
    """All that is painted, the far before the near."""
    random = Random(scene.seed)  # noqa: S311 - a picture, not a secret
    watched, ground = scene.watched, scene.ground
    arid = not scene.plants
    return (
        *_light_and_warmth(watched, ground, lit=scene.lit),
        *_plants(random, scene.plants, ground),
        *(_branch(ground) if Zone.CANOPY in watched and arid else ()),
        *_ground(random, ground),
        *(_stones(random, ground) if arid or Zone.BASKING in watched else ()),
        *(_shelter(ground) if Zone.COOL in watched else ()),
        *(_litter(random, ground) if not arid else ()),
        *_crew(random, ground, scene.crew),
    )


def _light_and_warmth(watched: frozenset[Zone], ground: float, *, lit: bool) -> Iterator[Path]:
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
