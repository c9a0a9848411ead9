"""Whether the inhabitants of an enclosure belong together, in the climate its keeper asks for."""

import datetime as dt
from collections.abc import Iterable, Mapping

from monitor.setup.daylight import EARLIEST_MS, LATEST_MS
from monitor.setup.models import Enclosure, Zone, ZoneRange
from monitor.species.compatibility import Compatibility, compatibility
from monitor.species.library import Library
from monitor.times import SECOND_MS


def day_of(enclosure: Enclosure, at_ms: int) -> dt.date:
    """The day it is in an enclosure, by its own clock; of times beyond 1970 to 2200 the nearest."""
    within_ms = min(max(at_ms, EARLIEST_MS), LATEST_MS)
    return dt.datetime.fromtimestamp(within_ms / SECOND_MS, enclosure.zone_info).date()


def company_of(enclosure: Enclosure, library: Library, on_date: dt.date) -> Compatibility:
    """How it stands with those who live in an enclosure.

    Raises:
        NotFound: the library has no such species.
    """
    species = [each.species for each in enclosure.inhabitant]
    return company(species, enclosure.range, library, on_date)


def company(
    species: Iterable[str],
    own: Mapping[Zone, ZoneRange],
    library: Library,
    on_date: dt.date,
) -> Compatibility:
    """How it would stand with some species, under the ranges they share and a keeper's own.

    Raises:
        NotFound: the library has no such species.
    """
    profiles = [library.profile(each) for each in species]
    return compatibility(profiles, library.profiles(), on_date, own)
