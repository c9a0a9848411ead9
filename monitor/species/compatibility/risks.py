"""What ranges alone do not show: a crew that is eaten, dies, or air and ground that suit only one.

The limits here are our own judgement, no source; the numbers they are compared with stand in the
profiles, each with its provenance.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import combinations, product
from typing import NamedTuple

from monitor.quantities import Quantity
from monitor.species.compatibility.refuge import lives_in_the_ground
from monitor.species.compatibility.water import DAY_AND_NIGHT
from monitor.species.profile import Crew, DryOut, Ground, Habit, Kind, Profile, When
from monitor.species.ranges import Ranged, Span, Spans, Zone, ZoneRange
from monitor.species.wording import spelt

LARGE_MM = 12.0
"""From this length on an isopod is worth hunting for an animal that eats large ones."""
FAR = 2
"""So many steps of ground or ventilation apart do not suit both."""
LIVES_IN = {
    Habit.ARBOREAL: (Zone.CANOPY,),
    Habit.TERRESTRIAL: (Zone.FLOOR,),
    Habit.BURROWING: (Zone.FLOOR,),
    Habit.NONE: (Zone.CANOPY, Zone.FLOOR),
}
"""Where the daily drying must happen."""
LETHAL: tuple[Ranged, ...] = (Quantity.TEMPERATURE, Quantity.HUMIDITY)


class What(StrEnum):
    """What may go wrong."""

    EATEN = "eaten"
    DIES = "dies"
    GROUND = "ground"
    VENTILATION = "ventilation"
    DRY_OUT = "dry_out"
    GROUND_ONLY = "ground_only"
    MIXED = "mixed"


@dataclass(frozen=True, slots=True)
class Risk:
    """Something that may go wrong between inhabitants, or between one and its climate."""

    what: What
    species: str
    """Who suffers."""
    other: str | None
    """Who it is because of; None: the climate."""
    serious: bool
    """Whether it should not be tried; else it is something to watch."""
    says: str


def risks(
    profiles: Iterable[Profile],
    ranges: Mapping[Zone, ZoneRange],
    aims: Mapping[Zone, ZoneRange],
    month: int,
) -> tuple[Risk, ...]:
    """All risks of a company in the climate it is to have.

    Args:
        profiles: the inhabitants, each once.
        ranges: what is allowed by zone.
        aims: what is aimed for within that.
        month: 1 to 12.
    """
    company = sorted(profiles, key=lambda each: each.id)
    animals = [each for each in company if each.kind is Kind.ANIMAL]
    others = [each for each in company if each.kind is not Kind.ANIMAL]
    found = [_mixed(one, other) for one, other in combinations(animals, 2)]
    for other, animal in product(others, animals) if animals else combinations(others, 2):
        found += [*_eaten(other, animal), *_ground(other, animal), *_ventilation(other, animal)]
    for crew in others:
        found += _dies(crew, animals, ranges, aims, month)
    for each in company:
        if each.dry_out is not None:
            found += _stays_damp(each, each.dry_out, ranges)
    return tuple(found)


def _mixed(one: Profile, other: Profile) -> Risk:
    says = (
        f"{one.name} and {other.name}: animals of two species may hurt, eat or sicken each other, "
        "whatever the climate (common practice, no source)."
    )
    return Risk(What.MIXED, one.id, other.id, True, says)


def _eaten(crew: Profile, animal: Profile) -> Iterator[Risk]:
    large = crew.size is not None and crew.size.length_mm >= LARGE_MM
    if crew.crew is Crew.ISOPODS and animal.eats_large_isopods and large and crew.size is not None:
        says = (
            f"{animal.name} eats large isopods, and {crew.name} grows to "
            f"{crew.size.length_mm:g} mm ({crew.size.basis})."
        )
        yield Risk(What.EATEN, crew.id, animal.id, True, says)


def _ground(other: Profile, anchor: Profile) -> Iterator[Risk]:
    if other.ground is None or anchor.ground is None:
        return
    steps = other.ground.step - anchor.ground.step
    if abs(steps) >= FAR:
        first = anchor.kind is Kind.ANIMAL
        whose = f"the ground is kept for {anchor.name}" if first else "one ground suits only one"
        says = (
            f"{other.name} needs {_ground_words(other.ground)}, {anchor.name} "
            f"{_ground_words(anchor.ground)}: {whose}."
        )
        yield Risk(What.GROUND, other.id, anchor.id, first and abs(steps) > FAR, says)


def _ground_words(ground: Ground) -> str:
    return "dry ground with a moist corner" if ground is Ground.CORNER else f"{ground} ground"


def _ventilation(other: Profile, anchor: Profile) -> Iterator[Risk]:
    steps = other.ventilation.step - anchor.ventilation.step
    if abs(steps) >= FAR:
        outcome = "may suffer in still, damp air" if steps > 0 else "may dry out in moving air"
        says = (
            f"{other.name} needs {other.ventilation} ventilation, {anchor.name} "
            f"{anchor.ventilation}: {other.name} {outcome}."
        )
        yield Risk(What.VENTILATION, other.id, anchor.id, False, says)


def _dies(
    crew: Profile,
    animals: Iterable[Profile],
    ranges: Mapping[Zone, ZoneRange],
    aims: Mapping[Zone, ZoneRange],
    month: int,
) -> Iterator[Risk]:
    """A crew beyond what it survives: at all that is aimed for, or at some of what is allowed."""
    refuge = lives_in_the_ground(crew, animals)
    for quantity in LETHAL:
        beyond = list(_beyond(crew, quantity, ranges, aims, month))
        if not beyond:
            continue
        worst = min(beyond, key=lambda each: not each.certain)
        dry = quantity is Quantity.HUMIDITY and worst.held.low < worst.survives.low
        limits = (
            f"{crew.name} can live at {spelt(worst.survives, quantity)} ({quantity}); "
            f"{worst.zone} by {worst.when} {spelt(worst.held, quantity)}"
        )
        if dry and refuge:
            says = f"{limits} is too dry for it in the open: it lives in ground that stays moist."
            yield Risk(What.GROUND_ONLY, crew.id, None, False, says)
        elif worst.certain:
            says = f"{limits} is aimed for: it dies out."
            yield Risk(What.DIES, crew.id, None, True, says)
        else:
            says = f"{limits} is allowed: it may die out at that edge."
            yield Risk(What.DIES, crew.id, None, False, says)


class _Beyond(NamedTuple):
    """A range that reaches beyond what a crew survives."""

    zone: Zone
    when: When
    survives: Span
    held: Span
    certain: bool


def _beyond(
    crew: Profile,
    quantity: Ranged,
    ranges: Mapping[Zone, ZoneRange],
    aims: Mapping[Zone, ZoneRange],
    month: int,
) -> Iterator[_Beyond]:
    for zone, when in product(ranges, DAY_AND_NIGHT):
        need = crew.need(zone, quantity, When.CRITICAL, month)
        allowed = _span(ranges, zone, when, quantity)
        if need is None or allowed is None:
            continue
        survives = need.tolerated
        aimed = _span(aims, zone, when, quantity) or allowed
        if aimed.high <= survives.low or aimed.low >= survives.high:
            yield _Beyond(zone, when, survives, aimed, True)
        elif not survives.holds(allowed):
            yield _Beyond(zone, when, survives, allowed, False)


def _span(
    ranges: Mapping[Zone, ZoneRange], zone: Zone, when: When, quantity: Ranged
) -> Span | None:
    spans: Spans = getattr(ranges.get(zone, ZoneRange()), when)
    return spans.given().get(quantity)


def _stays_damp(
    inhabitant: Profile, needs: DryOut, ranges: Mapping[Zone, ZoneRange]
) -> Iterator[Risk]:
    """Where it lives the air may never be dry enough for the daily drying."""
    lows = [
        span.low
        for zone, when in product(LIVES_IN[inhabitant.habit], DAY_AND_NIGHT)
        if (span := _span(ranges, zone, when, Quantity.HUMIDITY)) is not None
    ]
    if lows and min(lows) >= needs.below:
        says = (
            f"{inhabitant.name} needs {needs.hours_a_day:g} h a day below {needs.below:g} % "
            f"({needs.basis}); the air is to stay at {min(lows):g} % or more."
        )
        yield Risk(What.DRY_OUT, inhabitant.id, None, inhabitant.kind is Kind.ANIMAL, says)
