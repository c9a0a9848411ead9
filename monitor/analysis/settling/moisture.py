"""The criteria of air that dries: no long stagnation near saturation, a daily dry-out."""

from collections.abc import Collection
from math import ceil

import numpy as np

from monitor.analysis.settling.build import Floats, Ints
from monitor.analysis.settling.climate import Climate
from monitor.analysis.settling.criteria import Criterion, Name
from monitor.analysis.settling.days import BIN_MS
from monitor.analysis.settling.trailing import Trailing
from monitor.analysis.settling.wording import count
from monitor.quantities import Quantity
from monitor.species.profile import DryOut
from monitor.species.ranges import Zone
from monitor.species.settling import SettlingLimits
from monitor.times import HOUR_MS

BIN_H = BIN_MS / HOUR_MS

FEWEST_SHARE = 0.75
"""Share of a day that must be known."""

AIR = (Zone.BASKING, Zone.WARM, Zone.COOL, Zone.CANOPY, Zone.FLOOR)
"""Zones in which stagnation is looked for. Soil is meant to be moist."""

DRYING = (Zone.WARM, Zone.COOL, Zone.CANOPY)
"""Zones that must dry out. The floor may stay moist for plants and crew, the basking spot is dry
anyway."""


def dry_out_zones(zones: Collection[Zone]) -> list[Zone]:
    """Where the daily dry-out is looked for; on the floor only if no probe hangs above it."""
    return [zone for zone in DRYING if zone in zones] or [
        each for each in zones if each is Zone.FLOOR
    ]


def stagnation(climate: Climate, limits: SettlingLimits) -> Criterion:
    """Whether a zone's air comes away from saturation often enough."""
    trailing = Trailing(
        _of_known_days(climate, longest_stretches(climate, limits.saturated_from)),
        limits.recent_days,
        lambda days: float(days.max()),
        lambda hours: hours <= limits.saturated_h,
    )
    near = f"{limits.saturated_from:g} %RH or more"
    return trailing.criterion(
        Name.STAGNATION,
        climate.zone,
        Quantity.HUMIDITY,
        "h",
        required=f"never at {near} for longer than {limits.saturated_h:g} h",
        says=lambda hours: (
            f"the longest stretch at {near} in the last {count(limits.recent_days, 'day')} was "
            f"{hours:.1f} h"
        ),
        days=climate.days,
        limits=limits,
    )


def dry_out(climate: Climate, need: DryOut, limits: SettlingLimits) -> Criterion:
    """Whether a zone's air dries as long every day as an inhabitant needs it."""
    share = limits.dry_out_days / limits.recent_days
    dry = climate.days.sums(climate.bins[Quantity.HUMIDITY] < need.below) * BIN_H
    trailing = Trailing(
        _of_known_days(climate, dry),
        limits.recent_days,
        lambda days: float(np.sort(days)[len(days) - ceil(share * len(days))]),
        lambda hours: hours >= need.hours_a_day,
    )
    return trailing.criterion(
        Name.DRY_OUT,
        climate.zone,
        Quantity.HUMIDITY,
        "h",
        required=(
            f"below {need.below:g} %RH for {need.hours_a_day:g} h a day, on {limits.dry_out_days} "
            f"of {count(limits.recent_days, 'day')}"
        ),
        says=lambda hours: (
            f"on {limits.dry_out_days} of the last {count(limits.recent_days, 'day')} the air was "
            f"below {need.below:g} %RH for {hours:.1f} h or longer"
        ),
        days=climate.days,
        limits=limits,
    )


def longest_stretches(climate: Climate, above: float) -> Floats:
    """For each day the longest stretch up to its end, hours at or above a humidity.

    A stretch goes on over midnight. Time of which nothing is known neither ends it nor counts.
    """
    humidity = climate.bins[Quantity.HUMIDITY]
    wet = np.cumsum(humidity >= above)
    dry = humidity < above
    since_dry: Ints = wet - np.maximum.accumulate(np.where(dry, wet, 0))
    longest = np.zeros(len(climate.days))
    np.maximum.at(longest, climate.days.day, since_dry * BIN_H)
    return longest


def _of_known_days(climate: Climate, values: Floats) -> Floats:
    return np.where(climate.coverage >= FEWEST_SHARE, values, np.nan)
