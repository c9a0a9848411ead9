"""A species profile: what a species needs, where and when, and how far each number is known.

docs/species.md explains each key. Ranges are starting points, not veterinary advice.
"""

from collections.abc import Iterable, Iterator
from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from typing import Annotated, Literal, NamedTuple, Self

from pydantic import Field, model_validator

from monitor.documents.base import Identifier, Model, Name, Text
from monitor.documents.problems import Route, faults
from monitor.species.ranges import AMBIENT, Ranged, Span, Zone, beyond_measure
from monitor.species.settling import SomeLimits

Faults = Iterator[tuple[Route, str]]
Month = Annotated[int, Field(ge=1, le=12)]
ALL_YEAR = frozenset(range(1, 13))


GRADES = ("preferred", "tolerated", "critical")
"""How good a range is, each within the next."""


class Kind(StrEnum):
    """What an inhabitant is there for. The animal comes first."""

    ANIMAL = "animal"
    PLANT = "plant"
    CREW = "crew"


class Habit(StrEnum):
    """Where in an enclosure an animal spends its life."""

    ARBOREAL = "arboreal"
    TERRESTRIAL = "terrestrial"
    BURROWING = "burrowing"
    NONE = "none"


class Crew(StrEnum):
    """What turns waste into plant food."""

    SPRINGTAILS = "springtails"
    ISOPODS = "isopods"


class Ventilation(StrEnum):
    """How much air exchange it needs, the least first."""

    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"

    @property
    def step(self) -> int:
        """Its place in that order."""
        return list(Ventilation).index(self)


class Ground(StrEnum):
    """How wet its ground must be, the driest first."""

    DRY = "dry"
    CORNER = "moist corner"
    MOIST = "moist"
    WET = "wet"

    @property
    def step(self) -> int:
        """Its place in that order."""
        return list(Ground).index(self)


class Basis(StrEnum):
    """How far a set of numbers is known."""

    PUBLISHED = "published"
    PRACTICE = "common practice, no source"
    MEMORY = "from memory"


class When(StrEnum):
    """The three ranges a zone has for each quantity."""

    DAY = "day"
    NIGHT = "night"
    CRITICAL = "critical"


class Need(NamedTuple):
    """What a species needs of one quantity: all it tolerates, and what of that it prefers."""

    tolerated: Span
    preferred: Span


Told = dict[tuple[Ranged, Zone | None, When | None], dict[str, Span]]
"""Spans by their grade, under quantity, where (None: the air at large) and when (None: always)."""


class Provenance(Model):
    """Where the numbers that stand beside it come from."""

    basis: Basis
    """How far they are known."""
    source: Text | None = None
    """Who says so, or what was made of it; published numbers must name it."""

    @model_validator(mode="after")
    def _named(self) -> Self:
        if self.basis is Basis.PUBLISHED and self.source is None:
            raise faults([(("source",), "is missing; name what the published numbers stand in")])
        return self


class CitedRange(Provenance):
    """One set of numbers from one origin: a quantity, where and when."""

    quantity: Ranged
    """What is meant."""
    zones: tuple[Zone, ...] = ()
    """Where it holds; without it in all of the enclosure's air: warm, cool, canopy and floor."""
    when: Literal[When.DAY, When.NIGHT] | None = None
    """The part of the day it holds in; without it by day and by night."""
    preferred: Span | None = None
    """What to aim for."""
    tolerated: Span | None = None
    """What is borne for long without harm: alarms begin beyond it."""
    critical: Span | None = None
    """Beyond it harm is near, day and night; for animals and crew only."""
    used: bool = True
    """False keeps a conflicting range on record without using it."""

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        found = list(self._faults())
        if found:
            raise faults(found)
        return self

    def grades(self) -> dict[str, Span]:
        """The spans that are there by their grade, the narrowest first."""
        grades = {grade: getattr(self, grade) for grade in GRADES}
        return {grade: span for grade, span in grades.items() if span is not None}

    def _faults(self) -> Faults:
        grades = self.grades()
        if not grades:
            yield (), f"says nothing; write {', '.join(GRADES)} = [lowest, highest]"
        for grade, span in grades.items():
            says = beyond_measure(self.quantity, span)
            if says is not None:
                yield (grade,), says
        if self.critical is not None and self.when is not None:
            yield ("when",), "a critical range holds day and night; write it in a range of its own"
        if Zone.ROOM in self.zones:
            yield ("zones",), "'room' is the air outside the enclosure, which has no range"


class Season(Provenance):
    """A part of the year in which other ranges hold."""

    name: Name
    """What it is called, such as "winter rest"."""
    months: tuple[Month, ...]
    """The months it takes in, 1 to 12."""
    range: tuple[CitedRange, ...]
    """The ranges that come before those of the whole year."""


class DryOut(Provenance):
    """The daily drying that keeps air fresh and mould away."""

    hours_a_day: float = Field(gt=0, le=24)
    """Hours a day that the air must spend below that humidity."""
    below: float = Field(gt=0, le=100)
    """Relative humidity, %RH."""


class Size(Provenance):
    """How large it grows."""

    length_mm: float = Field(gt=0)
    """Body length of an adult, mm."""


class Profile(Model):
    """What one species needs."""

    id: Identifier
    """The name it goes by in set-ups, and its file's."""
    scientific: Name
    """Genus and species."""
    name: Name
    """What the trade calls it."""
    kind: Kind
    """Animal, plant or crew."""
    crew: Crew | None = None
    """What sort of crew it is: an inspection must have seen that sort in a settled build."""
    habit: Habit = Habit.NONE
    """Where it spends its life."""
    ventilation: Ventilation
    """How much air exchange it needs."""
    range: tuple[CitedRange, ...]
    """All that is known of its climate, each with its provenance."""
    season: tuple[Season, ...] = ()
    """Parts of the year in which other ranges hold."""
    dry_out: DryOut | None = None
    """The daily drying it needs."""
    settling: SomeLimits = Field(default_factory=dict)
    """What a new build must show before it moves in, where the usual limits do not suit it."""
    ground: Ground | None = None
    """How wet its ground must be, in one word; nothing if it needs none."""
    substrate: Text | None = None
    """How wet to keep the ground, in more words."""
    moult: Text | None = None
    """What it needs to moult or shed."""
    prey: Text | None = None
    """What size of food animal suits it."""
    size: Size | None = None
    """How large it grows: a large isopod may be taken for food."""
    eats_large_isopods: bool = False
    """Whether it would eat a crew of large isopods."""
    cautions: tuple[Text, ...] = ()
    """What can go wrong."""

    @model_validator(mode="after")
    def _makes_sense(self) -> Self:
        found = [*_overlapping_seasons(self.season)]
        for above, ranges in self._all_ranges():
            if not ranges:
                found.append((above, "is empty; write at least one"))
            found += _at_odds(ranges, above)
            if self.kind is Kind.PLANT:
                found += _needless_critical(ranges, above)
        if found:
            raise faults(found)
        return self

    def need(self, zone: Zone, quantity: Ranged, when: When, month: int) -> Need | None:
        """What is needed there and then, from the ranges in use; None if the profile says nothing.

        A season's word comes before the year's, a zone's own before that for the air at large,
        and, grade by grade, one for day or night before one for both.
        """
        for months, said in self._said:
            for place in self._places(zone) if month in months else ():
                always = said.get((quantity, place, None), {})
                need = _need(always | said.get((quantity, place, when), {}), when)
                if need is not None:
                    return need
        return None

    @cached_property
    def _said(self) -> tuple[tuple[frozenset[int], Told], ...]:
        """The seasons' words and, last, the year's, each with the months it holds in."""
        seasons = ((frozenset(each.months), _by_topic(each.range)) for each in self.season)
        return (*seasons, (ALL_YEAR, _by_topic(self.range)))

    def _all_ranges(self) -> Iterator[tuple[Route, tuple[CitedRange, ...]]]:
        yield ("range",), self.range
        for number, season in enumerate(self.season):
            yield ("season", number, "range"), season.range

    def _places(self, zone: Zone) -> tuple[Zone | None, ...]:
        """Where to look for a zone's range, in order; None is the air at large."""
        if zone in AMBIENT:
            return (zone, None)
        # An animal that knows no basking spot must still not be cooked in one; a plant is simply
        # not planted there.
        basks = any(zone in cited.zones for cited in self.range)
        if zone is Zone.BASKING and self.kind is Kind.ANIMAL and not basks:
            return (None,)
        return (zone,)


def _by_topic(ranges: Iterable[CitedRange]) -> Told:
    told: Told = {}
    for cited in ranges:
        for zone in (cited.zones or (None,)) if cited.used else ():
            told.setdefault((cited.quantity, zone, cited.when), {}).update(cited.grades())
    return told


def _need(grades: dict[str, Span], when: When) -> Need | None:
    if when is When.CRITICAL:
        critical = grades.get("critical")
        return Need(critical, critical) if critical else None
    preferred = grades.get("preferred") or grades.get("tolerated")
    return Need(grades.get("tolerated") or preferred, preferred) if preferred else None


def _at_odds(ranges: Iterable[CitedRange], above: Route) -> Faults:
    """Ranges in use that say two things of the same, or that do not lie within each other."""
    told: dict[tuple[Ranged, Zone | None, When | None], dict[str, tuple[int, Span]]] = {}
    for number, cited in enumerate(ranges):
        for zone in (cited.zones or (None,)) if cited.used else ():
            here = told.setdefault((cited.quantity, zone, cited.when), {})
            for grade, span in cited.grades().items():
                if grade in here:
                    yield (
                        (*above, number, grade),
                        "is given already; keep one and write used = false beside the other",
                    )
                here[grade] = (number, span)
    for (quantity, zone, _), here in told.items():
        always = told.get((quantity, zone, None), {})
        both = always | here
        nest = [(grade, *both[grade]) for grade in GRADES if grade in both]
        for (inner, number, span), (outer, _, wider) in pairwise(nest):
            if not wider.holds(span):
                yield (*above, number, inner), f"{span} reaches beyond {outer} {wider}"


def _needless_critical(ranges: Iterable[CitedRange], above: Route) -> Faults:
    for number, cited in enumerate(ranges):
        if cited.critical is not None:
            yield (
                (*above, number, "critical"),
                "only an animal's and a crew's critical range is heeded",
            )


def _overlapping_seasons(seasons: Iterable[Season]) -> Faults:
    taken: dict[int, str] = {}
    for number, season in enumerate(seasons):
        if not season.months:
            yield ("season", number, "months"), "is empty; write at least one, 1 to 12"
        for month in season.months:
            if month in taken:
                yield (
                    ("season", number, "months"),
                    f"month {month} belongs to {taken[month]!r} already",
                )
            taken[month] = season.name
