"""The settling of new builds in the settings, and the limits that hold for one enclosure."""

import datetime as dt
from collections.abc import Mapping
from typing import NamedTuple

from pydantic import Field

from monitor.documents.base import Identifier, Model, TimeOfDay
from monitor.setup.models import Enclosure
from monitor.species.library import Library
from monitor.species.settling import SettlingLimits, SomeLimits, is_stricter

DEFAULT, SETTINGS, ENCLOSURE = "default", "settings", "enclosure"
"""Where a limit can come from, besides the profile of an inhabitant."""


class SettlingSettings(Model):
    """When builds are judged, who hears of it, and by which limits."""

    at: TimeOfDay = dt.time(6)
    """When they are judged each day, by the clock of each enclosure."""
    channels: tuple[Identifier, ...] = ()
    """Names of the channels that are told of a change of verdict."""
    limits: SomeLimits = Field(default_factory=dict)
    """Limits for all enclosures; those of inhabitants and of an enclosure come before them."""


class Limits(NamedTuple):
    """The limits that hold for an enclosure, and by name where each comes from."""

    values: SettlingLimits
    origin: Mapping[str, str]


def limits_of(enclosure: Enclosure, library: Library, given: Mapping[str, float]) -> Limits:
    """The limits an enclosure is judged by.

    What the enclosure's own table says comes first, then the inhabitants' profiles (the strictest
    of them), then ``given``, those of the settings, then the defaults. Where limits from several
    places do not fit together the greater demand stands: ``longest_even_days`` is at least
    ``even_days``, ``recent_days`` at least ``dry_out_days``.

    Raises:
        NotFound: an inhabitant has no profile.
    """
    values: dict[str, float] = SettlingLimits().model_dump()
    origin = dict.fromkeys(values, DEFAULT)
    asked = _asked(enclosure, library)
    for name in values:
        if name in enclosure.settling:
            values[name], origin[name] = enclosure.settling[name], ENCLOSURE
        elif name in asked:
            values[name], origin[name] = asked[name]
        elif name in given:
            values[name], origin[name] = given[name], SETTINGS
    for least, most in (("even_days", "longest_even_days"), ("dry_out_days", "recent_days")):
        if values[most] < values[least]:
            values[most], origin[most] = values[least], origin[least]
    return Limits(SettlingLimits.model_validate(values), origin)


def _asked(enclosure: Enclosure, library: Library) -> dict[str, tuple[float, str]]:
    """What the inhabitants ask, and which of them."""
    asked: dict[str, tuple[float, str]] = {}
    for species in dict.fromkeys(each.species for each in enclosure.inhabitant):
        for name, value in library.profile(species).settling.items():
            if name not in asked or is_stricter(name, value, asked[name][0]):
                asked[name] = value, f"profile {species}"
    return asked
