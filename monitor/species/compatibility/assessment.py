"""Whether those who live in an enclosure, or are to live in it, belong together.

The animal comes first: plants and crew yield to it, never the other way round. Two animals that
cannot agree are kept apart.
"""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from types import MappingProxyType

from monitor.species.compatibility.aims import aims
from monitor.species.compatibility.alternatives import Candidate, candidates
from monitor.species.compatibility.refuge import bridged
from monitor.species.compatibility.risks import Risk, risks
from monitor.species.compatibility.seasons import Months, through_the_year
from monitor.species.compatibility.water import Water, water
from monitor.species.envelope import Conflict, envelope
from monitor.species.profile import Kind, Profile
from monitor.species.ranges import Zone, ZoneRange, with_own
from monitor.species.wording import listed

NOTHING: Mapping[Zone, ZoneRange] = MappingProxyType({})
"""No range of the keeper's own."""


class Verdict(StrEnum):
    """How it stands with a company."""

    EMPTY = "empty"
    """Nobody lives there."""
    FITS = "fits"
    """All get on, in every season."""
    UNFIT = "unfit"
    """Some plants or crew do not belong with the rest, or are at serious risk."""
    APART = "apart"
    """Animals are at odds: they must not share an enclosure."""


@dataclass(frozen=True, slots=True)
class Seasonal:
    """A conflict that comes in other months than the present one."""

    months: Months
    conflict: Conflict


@dataclass(frozen=True, slots=True)
class Alternative:
    """A species that could take the place of one that does not belong."""

    instead_of: str
    candidate: Candidate


@dataclass(frozen=True, slots=True)
class Compatibility:
    """All that is known about who fits whom, in which climate."""

    on_date: dt.date
    company: tuple[Profile, ...]
    ranges: Mapping[Zone, ZoneRange]
    """What each zone is watched against."""
    aims: Mapping[Zone, ZoneRange]
    """What of that the animals prefer."""
    conflicts: tuple[Conflict, ...]
    later: tuple[Seasonal, ...]
    risks: tuple[Risk, ...]
    water: Water
    candidates: tuple[Candidate, ...]
    """Who else could move in, the fittest first, and who could not; empty while animals are at
    odds."""

    @property
    def at_odds(self) -> tuple[str, ...]:
        """Animals that must not share an enclosure."""
        animals = {each.id for each in self.company if each.kind is Kind.ANIMAL}
        pairs = [set(each.odds.species) for each in self._real_conflicts()]
        return tuple(sorted(set().union(*(pair for pair in pairs if pair <= animals))))

    @property
    def misfits(self) -> tuple[str, ...]:
        """Plants and crew that yield in any month, or are at serious risk."""
        found = {each for conflict in self._real_conflicts() for each in conflict.odds.yields}
        found |= {risk.species for risk in self.risks if risk.serious}
        return tuple(
            each.id for each in self.company if each.id in found and each.kind is not Kind.ANIMAL
        )

    @property
    def verdict(self) -> Verdict:
        """How it stands, in a word."""
        if not self.company:
            return Verdict.EMPTY
        if self.at_odds:
            return Verdict.APART
        serious = any(risk.serious for risk in self.risks)
        return Verdict.UNFIT if self._real_conflicts() or serious else Verdict.FITS

    @property
    def says(self) -> str:
        """How it stands, in a sentence."""
        names = {each.id: each.name for each in self.company}
        match self.verdict:
            case Verdict.EMPTY:
                return "Nobody lives here yet."
            case Verdict.APART:
                who = listed([names[each] for each in self.at_odds])
                return f"{who} must be kept apart: no climate serves them all."
            case Verdict.UNFIT if self.misfits:
                who = listed([names[each] for each in self.misfits])
                verb = "does" if len(self.misfits) == 1 else "do"
                return f"{who} {verb} not belong with the rest."
            case Verdict.UNFIT:
                return f"{listed(list(names.values()))} do not all belong together."
            case _ if len(names) == 1:
                return f"{names[self.company[0].id]} has it to itself."
            case _:
                return f"{listed(list(names.values()))} get on."

    @property
    def alternatives(self) -> tuple[Alternative, ...]:
        """For each misfit those of its kind that would get on, the fittest first."""
        kinds = {each.id: (each.kind, each.crew) for each in self.company}
        return tuple(
            Alternative(misfit, each)
            for misfit in self.misfits
            for each in self.candidates
            if each.fit is not None and (each.kind, each.crew) == kinds[misfit]
        )

    def bridged(self, conflict: Conflict) -> bool:
        """Whether a conflict is one of the air only, which the ground makes good."""
        return bridged(conflict, self.company)

    def _real_conflicts(self) -> list[Conflict]:
        """Those of all the year that nothing makes good."""
        all_year = [*self.conflicts, *(each.conflict for each in self.later)]
        return [each for each in all_year if not self.bridged(each)]


def compatibility(
    company: Iterable[Profile],
    library: Iterable[Profile],
    on_date: dt.date,
    own: Mapping[Zone, ZoneRange] = NOTHING,
) -> Compatibility:
    """Look at a company from all sides.

    Args:
        company: who lives, or is to live, in one enclosure; each species counts once.
        library: all species there are to choose from.
        on_date: the day whose season counts.
        own: ranges that the keeper wrote; they come before what the company can share.
    """
    unique = {each.id: each for each in company}
    inhabitants = tuple(unique[each] for each in sorted(unique))
    month = on_date.month
    shared = envelope(inhabitants, on_date)
    held = with_own(shared.ranges, own)
    aimed = aims(inhabitants, held, month)
    found = Compatibility(
        on_date=on_date,
        company=inhabitants,
        ranges=held,
        aims=aimed,
        conflicts=shared.conflicts,
        later=_later(inhabitants, shared.conflicts, on_date),
        risks=risks(inhabitants, held, aimed, month),
        water=water(held, aimed),
        candidates=(),
    )
    if found.at_odds:
        return found
    staying = [each for each in inhabitants if each.id not in found.misfits]
    strangers = [each for each in library if each.id not in unique]
    return replace(found, candidates=candidates(staying, strangers, on_date, own))


def _later(
    inhabitants: tuple[Profile, ...], known: tuple[Conflict, ...], on_date: dt.date
) -> tuple[Seasonal, ...]:
    """Conflicts that other months bring and the present one does not know."""
    seen = {(each.quantity, each.when, each.odds.species) for each in known}
    found = []
    for day, months in through_the_year(inhabitants, on_date):
        for conflict in envelope(inhabitants, day).conflicts:
            topic = (conflict.quantity, conflict.when, conflict.odds.species)
            if day != on_date and topic not in seen:
                found.append(Seasonal(months, conflict))
    return tuple(found)
