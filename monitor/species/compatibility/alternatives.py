"""Who else in the library would get on: plants and crew for the animals that are there, ranked."""

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from statistics import fmean

from monitor.species.compatibility.aims import aims
from monitor.species.compatibility.refuge import SAYS, bridged
from monitor.species.compatibility.risks import What, risks
from monitor.species.compatibility.seasons import through_the_year
from monitor.species.compatibility.water import DAY_AND_NIGHT
from monitor.species.envelope import envelope
from monitor.species.profile import Basis, Crew, Kind, Profile, When
from monitor.species.ranges import RANGED, Ranged, Span, Zone, ZoneRange, with_own
from monitor.species.wording import listed, spelt

WORTH_WATCHING = 0.1
"""What each thing to watch takes from a candidate's fit (our own judgement, no source)."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A plant or crew species that could move in, or could not."""

    species: str
    name: str
    kind: Kind
    crew: Crew | None
    fit: float | None
    """How much of what the animals prefer suits it too, 0 to 1; None if it would not get on."""
    says: str
    """Why."""


def candidates(
    company: Iterable[Profile],
    library: Iterable[Profile],
    on_date: dt.date,
    own: Mapping[Zone, ZoneRange],
) -> tuple[Candidate, ...]:
    """Every plant and crew species of the library that does not live there yet, the fittest first.

    A candidate must get on in every season, without yielding and without a serious risk. What
    remains is ranked by how much of the animals' preferred ranges it tolerates and prefers itself
    (where there is no animal: of all inhabitants').

    Args:
        company: who lives there for certain; animals among them must get on with each other.
        library: all species to choose from.
        on_date: the day whose season is looked at first.
        own: ranges that the keeper wrote.
    """
    company = list(company)
    if not company:
        return ()
    there = {each.id for each in company}
    strangers = [each for each in library if each.id not in there and each.kind is not Kind.ANIMAL]
    ranked = [_candidate(each, company, on_date, own) for each in strangers]
    return tuple(sorted(ranked, key=lambda each: (each.fit is None, -(each.fit or 0), each.name)))


def _candidate(
    stranger: Profile,
    company: Sequence[Profile],
    on_date: dt.date,
    own: Mapping[Zone, ZoneRange],
) -> Candidate:
    against, watch = _objections(stranger, company, on_date, own)
    anchors = [each for each in company if each.kind is Kind.ANIMAL] or company
    shares = list(_shares(stranger, anchors, on_date.month))
    fit = None
    if against is not None:
        says = against
    elif not shares:
        says = "Its profile says nothing of what the others need."
    else:
        overall = fmean(share for share, _ in shares)
        fit = max(overall - WORTH_WATCHING * len(watch), 0.0)
        says = " ".join([_praise(stranger, overall, min(shares)), *watch])
    return Candidate(stranger.id, stranger.name, stranger.kind, stranger.crew, fit, says)


def _objections(
    stranger: Profile,
    company: Sequence[Profile],
    on_date: dt.date,
    own: Mapping[Zone, ZoneRange],
) -> tuple[str | None, list[str]]:
    """The first reason against a stranger in any season, else what would have to be watched."""
    together = [*company, stranger]
    names = {each.id: each.name for each in together}
    animals = [each.name for each in company if each.kind is Kind.ANIMAL]
    watch: dict[What, str] = {}
    for day, _ in through_the_year(together, on_date):
        shared = envelope(together, day)
        for conflict in shared.conflicts:
            if stranger.id in conflict.odds.species:
                if not bridged(conflict, together):
                    return conflict.says(names), []
                watch.setdefault(
                    What.GROUND_ONLY, f"It needs damper air than {listed(animals)}. {SAYS}"
                )
        held = with_own(shared.ranges, own)
        aimed = aims(together, held, day.month)
        for risk in risks(together, held, aimed, day.month):
            if stranger.id in (risk.species, risk.other):
                if risk.serious:
                    return risk.says, []
                watch.setdefault(risk.what, risk.says)
    return None, list(watch.values())


Share = tuple[float, str]


def _shares(stranger: Profile, anchors: Sequence[Profile], month: int) -> Iterator[Share]:
    """For each range that both have a wish for: how much suits both, and of what."""
    for zone, quantity, when in product(Zone, RANGED, DAY_AND_NIGHT):
        wish = stranger.need(zone, quantity, when, month)
        for anchor in anchors if wish else ():
            wanted = anchor.need(zone, quantity, when, month)
            if wish is not None and wanted is not None:
                best = wanted.preferred
                share = (_part(best, wish.tolerated) + _part(best, wish.preferred)) / 2.0
                yield share, _compared(stranger, anchor, quantity, when, wish.preferred, best)


def _part(of: Span, within: Span) -> float:
    common = min(of.high, within.high) - max(of.low, within.low)
    return max(common, 0.0) / (of.high - of.low)


def _compared(
    stranger: Profile, anchor: Profile, quantity: Ranged, when: When, its: Span, best: Span
) -> str:
    topic = f"{quantity.replace('_', ' ')} by {when}"
    its_words, best_words = spelt(its, quantity), spelt(best, quantity)
    return f"{topic} ({stranger.name} {its_words}, {anchor.name} {best_words})"


def _praise(stranger: Profile, overall: float, worst: Share) -> str:
    least, where = worst
    says = f"Suits {100 * overall:.0f} % of what is preferred"
    says += f", least in {where}." if least < 1.0 else ", everywhere."
    weakest = max((cited.basis for cited in stranger.range), key=list(Basis).index)
    return f"{says} Its numbers: {weakest}."
