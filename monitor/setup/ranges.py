"""The ranges an enclosure is watched against: what its inhabitants share, and the keeper's word."""

import datetime as dt
import logging
from collections.abc import Mapping

from monitor.errors import NotFound
from monitor.setup.models import Enclosure
from monitor.species.envelope import Envelope
from monitor.species.library import Library
from monitor.species.ranges import Zone, ZoneRange, with_own

log = logging.getLogger(__name__)


def envelope_of(enclosure: Enclosure, library: Library, on_date: dt.date) -> Envelope:
    """What the enclosure's inhabitants can share on a day, and what they cannot agree on.

    Raises:
        NotFound: the library has no such species.
    """
    return library.envelope((each.species for each in enclosure.inhabitant), on_date)


def ranges_of(enclosure: Enclosure, library: Library, on_date: dt.date) -> dict[Zone, ZoneRange]:
    """What each zone of the enclosure should hold on a day.

    What the keeper wrote takes the place of what the inhabitants share, key by key: a range for
    the day's temperature at the canopy leaves all others as they are.

    Raises:
        NotFound: the library has no such species.
    """
    return with_own(envelope_of(enclosure, library, on_date).ranges, enclosure.range)


def ranges_in_force(
    enclosure: Enclosure, library: Library, on_date: dt.date
) -> Mapping[Zone, ZoneRange]:
    """``ranges_of``, or the keeper's own ranges alone if the profile of an inhabitant is missing.

    A profile that went missing must not end the watch over everyone else; the log tells.
    """
    try:
        return ranges_of(enclosure, library, on_date)
    except NotFound as exc:
        log.error("enclosure %s is watched by its own ranges only: %s", enclosure.id, exc)
        return enclosure.range
