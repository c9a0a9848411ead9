"""What to aim for inside the allowed ranges: what the animals prefer."""

from collections.abc import Iterable, Mapping

from monitor.species.profile import Kind, Profile, When
from monitor.species.ranges import RANGED, Ranged, Span, Spans, Zone, ZoneRange


def aims(
    profiles: Iterable[Profile], ranges: Mapping[Zone, ZoneRange], month: int
) -> dict[Zone, ZoneRange]:
    """By zone, day and night: the part of each allowed range that all animals prefer.

    Where no animal has a wish all inhabitants count. Where they prefer nothing in common, or
    nothing that is allowed, the whole of the allowed range is as good as any part of it.
    """
    company = list(profiles)
    return {
        zone: ZoneRange(
            day=_aimed(company, zone, When.DAY, allowed.day, month),
            night=_aimed(company, zone, When.NIGHT, allowed.night, month),
        )
        for zone, allowed in ranges.items()
    }


def _aimed(company: list[Profile], zone: Zone, when: When, allowed: Spans, month: int) -> Spans:
    aimed: dict[Ranged, Span] = {}
    given = allowed.given()
    for quantity in RANGED:
        if quantity in given:
            wishes = _preferred(company, zone, quantity, when, month)
            aimed[quantity] = _common(given[quantity], wishes)
    return Spans(**aimed)


def _preferred(
    company: list[Profile], zone: Zone, quantity: Ranged, when: When, month: int
) -> list[Span]:
    needs = {
        kind: [
            need.preferred
            for each in company
            if each.kind is kind and (need := each.need(zone, quantity, when, month)) is not None
        ]
        for kind in Kind
    }
    return needs[Kind.ANIMAL] or needs[Kind.PLANT] + needs[Kind.CREW]


def _common(allowed: Span, wishes: list[Span]) -> Span:
    low = max(span.low for span in (allowed, *wishes))
    high = min(span.high for span in (allowed, *wishes))
    return Span(low=low, high=high) if low < high else allowed
