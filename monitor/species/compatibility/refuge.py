"""A crew that finds in the ground what the air does not give it."""

from collections.abc import Iterable

from monitor.quantities import Quantity
from monitor.species.envelope import Conflict
from monitor.species.profile import Ground, Kind, Profile
from monitor.species.ranges import Zone

SAYS = (
    "It lives in the ground, where the air is damper as long as the ground stays moist "
    "(common practice, no source)."
)


def lives_in_the_ground(crew: Profile, company: Iterable[Profile]) -> bool:
    """Whether the ground that the animals need has a moist refuge for a crew.

    Ground one step drier than the crew needs will do, as long as some of it is moist: it seeks
    out the best part (our own judgement, no source).
    """
    return crew.ground is not None and all(
        each.ground not in (None, Ground.DRY) and each.ground.step >= crew.ground.step - 1
        for each in company
        if each.kind is Kind.ANIMAL
    )


def bridged(conflict: Conflict, company: Iterable[Profile]) -> bool:
    """Whether a crew member yields on paper only: the floor's air is too dry, its ground is not."""
    by_id = {each.id: each for each in company}
    yields = [by_id[each] for each in conflict.odds.yields]
    wants, needs = conflict.odds.spans
    return (
        conflict.quantity is Quantity.HUMIDITY
        and set(conflict.zones) == {Zone.FLOOR}
        and [each.kind for each in yields] == [Kind.CREW]
        and wants.low > needs.low
        and wants.high >= needs.high
        and lives_in_the_ground(yields[0], by_id.values())
    )
