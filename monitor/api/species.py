"""Species profiles, with where each number comes from."""

from fastapi import APIRouter

from monitor.api.access import MayView
from monitor.api.parts import GivenParts
from monitor.species.profile import Profile

router = APIRouter(tags=["species"])


@router.get("/species")
def list_species(parts: GivenParts, _who: MayView) -> list[Profile]:
    """All profiles."""
    return [parts.library.profile(species) for species in parts.library]


@router.get("/species/{species}")
def get_species(species: str, parts: GivenParts, _who: MayView) -> Profile:
    """One profile."""
    return parts.library.profile(species)
