"""Who fits whom: of those who live in an enclosure, and of a company not yet bought."""

import datetime as dt
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query
from pydantic import Field

from monitor.api.access import MayView
from monitor.api.parts import GivenParts
from monitor.api.places import check_species
from monitor.api.spans import Instant
from monitor.documents.base import Date, Model
from monitor.errors import NotFound
from monitor.setup.company import company, company_of, day_of
from monitor.setup.models import Enclosure, Inhabitant, Zone, ZoneRange
from monitor.species.compatibility import wire
from monitor.store.sqlite.state import setup
from monitor.times import SECOND_MS

router = APIRouter(tags=["species"])

MOST = 50
"""Inhabitants of one proposal: more do not live in one enclosure."""


class Proposal(Model):
    """A company that somebody thinks of."""

    inhabitant: tuple[Inhabitant, ...] = Field(default=(), max_length=MOST)
    """Who is to live together."""
    range: dict[Zone, ZoneRange] = Field(default_factory=dict)
    """The keeper's own ranges, as in a set-up."""
    volume_l: float | None = Field(default=None, gt=0)
    """Litres of air; with it, water is told in grams too."""
    on: Date | None = None
    """The day whose season counts; default: today."""


@router.get("/enclosures/{enclosure}/compatibility")
def get_compatibility(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    at: Annotated[Instant | None, Query(description="As of then; default: now.")] = None,
) -> dict[str, Any]:
    """Who gets on with whom, in which ranges, what air makes of them, and who would fit."""
    with parts.database.reading() as connection:
        place, _ = setup.get(connection, enclosure)
    if not isinstance(place, Enclosure):
        raise NotFound(f"no enclosure {enclosure!r} is set up")
    on_date = day_of(place, parts.clock() if at is None else at)
    found = company_of(place, parts.library, on_date)
    return {"enclosure": enclosure, **wire(found, place.volume_l)}


@router.post("/compatibility")
def propose(
    parts: GivenParts, _who: MayView, proposal: Annotated[Proposal, Body()]
) -> dict[str, Any]:
    """The same for a company that lives nowhere yet; nothing is kept of it."""
    check_species(parts, proposal.inhabitant)
    today = dt.datetime.fromtimestamp(parts.clock() / SECOND_MS, dt.UTC).date()
    species = [each.species for each in proposal.inhabitant]
    found = company(species, proposal.range, parts.library, proposal.on or today)
    return wire(found, proposal.volume_l)
