"""The envelope: what all inhabitants of an enclosure can share, the animal first.

Plants and crew may narrow an animal's range, but never widen or move it: where one of them shares
too little with the animals, their range stands and the conflict is told.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations, product
from typing import NamedTuple

from monitor.quantities import Quantity
from monitor.species.profile import Kind, Need, Profile, When
from monitor.species.ranges import RANGED, Ranged, Span, Spans, Zone, ZoneRange
from monitor.species.wording import difference, places, spelt

_WHEN = {When.DAY: "by day", When.NIGHT: "by night", When.CRITICAL: "at the limits of harm"}

NARROWEST: dict[Ranged, float] = {
    Quantity.TEMPERATURE: 2.0,
    Quantity.HUMIDITY: 10.0,
    Quantity.SUBSTRATE_MOISTURE: 10.0,
    Quantity.SURFACE_TEMPERATURE: 2.0,
}
"""How wide a shared range must be to count as shared, unless an animal itself needs a narrower one.

Our own judgement, no source: a narrower one cannot be kept in an enclosure and would only ring.
"""


class Wish(NamedTuple):
    """What one inhabitant needs of one quantity, somewhere and at some time."""

    species: str
    kind: Kind
    need: Need


@dataclass(frozen=True, slots=True)
class Odds:
    """Two inhabitants that share too little, and who yields.

    ``spans`` are what each tolerates, or for an animal that another yields to, what it prefers.
    ``apart`` is the gap between the two spans; negative, if they share that much.
    ``yields`` names the plant or crew member that yields to the animal; both, where they get on
    with the animal but not with each other; nobody, where no range serves both.
    """

    species: tuple[str, str]
    spans: tuple[Span, Span]
    apart: float
    yields: tuple[str, ...]


class Share(NamedTuple):
    """What the wishes for one quantity leave, and who is at odds."""

    span: Span | None
    odds: tuple[Odds, ...]


@dataclass(frozen=True, slots=True)
class Conflict:
    """Where, when and over what two inhabitants are at odds."""

    quantity: Ranged
    when: When
    zones: tuple[Zone, ...]
    odds: Odds

    def says(self, names: Mapping[str, str]) -> str:
        """What is at odds and who yields, in a sentence or two.

        Args:
            names: what to call each of the two species.
        """
        one, other = (names[each] for each in self.odds.species)
        wants, needs = (spelt(span, self.quantity) for span in self.odds.spans)
        apart = self.odds.apart
        gap = (
            f"{difference(apart, self.quantity)} apart"
            if apart > 0
            else f"they share only {difference(-apart, self.quantity)}"
        )
        outcome = (
            "No range serves both, so there is none until you write one.",
            f"{one} yields.",
            "Both yield to the animal.",
        )[len(self.odds.yields)]
        topic = f"{self.quantity.replace('_', ' ').capitalize()} {_WHEN[self.when]}"
        demands = f"{one} needs {wants}, {other} {needs}"
        return f"{topic} ({places(self.zones)}): {demands}, {gap}. {outcome}"


class Envelope(NamedTuple):
    """The ranges all inhabitants can share, by zone, and what they cannot agree on."""

    ranges: Mapping[Zone, ZoneRange]
    conflicts: tuple[Conflict, ...]


def envelope(profiles: Iterable[Profile], on_date: dt.date) -> Envelope:
    """What the inhabitants of one enclosure can share in the month of a day.

    The order of the profiles does not matter, nor does naming one twice. Quantities and zones
    nobody speaks of are absent.
    """
    inhabitants = sorted({each.id: each for each in profiles}.values(), key=lambda each: each.id)
    ranges: dict[Zone, ZoneRange] = {}
    at_odds: dict[Conflict, list[Zone]] = {}
    for zone in Zone:
        spans: dict[When, dict[Ranged, Span]] = {when: {} for when in When}
        for when, quantity in product(When, RANGED):
            wishes = [
                Wish(each.id, each.kind, need)
                for each in inhabitants
                if (when is not When.CRITICAL or each.kind is Kind.ANIMAL)
                and (need := each.need(zone, quantity, when, on_date.month)) is not None
            ]
            span, all_odds = share(wishes, NARROWEST[quantity])
            if span is not None:
                spans[when][quantity] = span
            for odds in all_odds:
                at_odds.setdefault(Conflict(quantity, when, (), odds), []).append(zone)
        if any(spans.values()):
            ranges[zone] = ZoneRange(**{when: Spans(**given) for when, given in spans.items()})
    conflicts = (replace(conflict, zones=tuple(zones)) for conflict, zones in at_odds.items())
    return Envelope(ranges, tuple(conflicts))


def share(wishes: Iterable[Wish], narrowest: float) -> Share:
    """The span that serves all wishes, the animals' before all others.

    Animals must agree among themselves, and so must the others where no animal has a wish: if any
    two do not, there is no span. A plant or crew member that leaves an animal less than
    ``narrowest`` of what it prefers yields; two that only together leave too little both yield.
    The rest narrow the span to what they tolerate.

    Looking at pairs is enough: spans of which every two overlap all overlap.
    """
    wishes = sorted(wishes, key=lambda wish: wish.species)
    animals = [wish for wish in wishes if wish.kind is Kind.ANIMAL]
    others = [wish for wish in wishes if wish.kind is not Kind.ANIMAL]
    first, others = (animals, others) if animals else (others, [])
    odds = [
        _odds(one, other, other.need.tolerated, ())
        for one, other in combinations(first, 2)
        if _overlap(one.need.tolerated, other.need.tolerated)
        < min(narrowest, _width(one.need.tolerated), _width(other.need.tolerated))
    ]
    if odds or not first:
        return Share(None, tuple(odds))

    def starved(animal: Wish, *by: Wish) -> bool:
        wanted = animal.need.preferred
        left = _overlap(wanted, *(wish.need.tolerated for wish in by))
        return left < min(narrowest, _width(wanted))

    odds += [
        _odds(wish, animal, animal.need.preferred, (wish.species,))
        for wish in others
        for animal in animals
        if starved(animal, wish)
    ]
    others = _without(others, odds)
    odds += [
        _odds(one, other, other.need.tolerated, (one.species, other.species))
        for one, other in combinations(others, 2)
        if any(starved(animal, one, other) for animal in animals)
    ]
    left = [wish.need.tolerated for wish in first + _without(others, odds)]
    span = Span(low=max(span.low for span in left), high=min(span.high for span in left))
    return Share(span, tuple(odds))


def _odds(one: Wish, other: Wish, needs: Span, yields: tuple[str, ...]) -> Odds:
    wants = one.need.tolerated
    apart = max(wants.low, needs.low) - min(wants.high, needs.high)
    return Odds((one.species, other.species), (wants, needs), apart, yields)


def _without(wishes: list[Wish], odds: list[Odds]) -> list[Wish]:
    yielding = {species for each in odds for species in each.yields}
    return [wish for wish in wishes if wish.species not in yielding]


def _overlap(*spans: Span) -> float:
    """How much the spans have in common; negative: the gap between the furthest two."""
    return min(span.high for span in spans) - max(span.low for span in spans)


def _width(span: Span) -> float:
    return span.high - span.low
