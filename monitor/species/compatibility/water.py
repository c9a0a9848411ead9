"""Whether ranges can hold in real air: its water between day and night, and between zones.

Air that cools keeps its vapour pressure until it is saturated, and air that mixes shares it. So a
day and a night, or two zones, whose vapour pressures do not meet cannot follow from each other
unless water enters or leaves. docs/compatibility.md has the reasoning and its limits.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import permutations
from typing import NamedTuple

import numpy as np

from monitor.air import (
    Values,
    absolute_humidity,
    dew_point_from_vapour_pressure,
    relative_humidity,
    vapour_pressure,
)
from monitor.species.compatibility.region import Region
from monitor.species.profile import When
from monitor.species.ranges import Span, Spans, Zone, ZoneRange
from monitor.species.wording import places

DAY_AND_NIGHT = (When.DAY, When.NIGHT)
IN_THE_AIR = (Zone.BASKING, Zone.WARM, Zone.COOL, Zone.CANOPY, Zone.FLOOR)
"""Zones that lie in the enclosure's one body of air; the ground has air of its own."""


class State(NamedTuple):
    """Air: Cel and %RH."""

    temperature: float
    humidity: float

    def __str__(self) -> str:
        return f"{round(self.temperature, 1):g} °C at {self.humidity:.0f} %"


class Cooling(NamedTuple):
    """What becomes of the water in air that cools from one state to another, at one pressure.

    Amounts are g in each m3 of the cooled air; arrays where the states were arrays.
    """

    leaves_g_m3: Values
    """What must leave the air by whatever way; negative: must be added."""
    dew_g_m3: Values
    """What the cooled air cannot hold, which settles as dew if it finds no other way."""
    dew_point: Values
    """Where the warm air begins to fog a surface, Cel."""


def cooling(warm: Values, warm_rh: Values, cool: Values, cool_rh: Values) -> Cooling:
    """Compare the water of two states of air.

    The vapour pressure is what stays the same, so the warm air's is taken to the cool temperature
    first; grams per m3 of both states as they stand would differ by the air's contraction too.

    Args:
        warm: temperature before, Cel.
        warm_rh: humidity before, %RH.
        cool: temperature afterwards, Cel.
        cool_rh: humidity wanted afterwards, %RH.
    """
    held = np.asarray(vapour_pressure(np.asarray(warm), warm_rh))
    kept_rh = np.asarray(relative_humidity(np.asarray(cool), held))
    return Cooling(
        leaves_g_m3=absolute_humidity(np.asarray(cool), kept_rh - cool_rh),
        dew_g_m3=absolute_humidity(np.asarray(cool), np.maximum(kept_rh - 100.0, 0.0)),
        dew_point=dew_point_from_vapour_pressure(held),
    )


@dataclass(frozen=True, slots=True)
class Evening:
    """What the fall from day to night asks of the water in zones that are kept alike."""

    zones: tuple[Zone, ...]
    by_day: State
    by_night: State
    """The middles of what is aimed for."""
    aimed: Cooling
    """From the one middle to the other."""
    least_g_m3: float
    """What must leave between the two allowed states that are nearest to each other in vapour;
    negative: what must be added; 0: some allowed day and night share their water."""

    @property
    def says(self) -> str:
        """What it means, in sentences; empty if there is nothing to know."""
        told = []
        if self.least_g_m3 > 0:
            told.append(
                f"even the driest air allowed by day holds {self.least_g_m3:.1f} g/m³ more water "
                "than the dampest allowed by night; it must leave the air every evening"
            )
        if self.least_g_m3 < 0:
            told.append(
                f"even the dampest air allowed by day holds {-self.least_g_m3:.1f} g/m³ less water "
                "than the driest allowed by night; it must be added every evening, by misting or "
                "from wet ground"
            )
        if self.aimed.dew_g_m3 > 0:
            told.append(
                f"from {self.by_day} by day to {self.by_night} by night, "
                f"{self.aimed.leaves_g_m3:.1f} g/m³ of water must leave the air; "
                f"{self.aimed.dew_g_m3:.1f} g/m³ of them are more than it can hold and settle as "
                f"dew, first where glass or leaves are below {self.aimed.dew_point:.1f} °C, "
                "unless vents take them away before"
            )
        where = places(self.zones).capitalize()
        return " ".join(f"{where}: {each}." for each in told)


@dataclass(frozen=True, slots=True)
class Apart:
    """Two zones whose ranges cannot hold at one time in one body of air."""

    when: When
    damp: Zone
    dry: Zone
    gap_kpa: float
    """The least vapour that the damp zone needs, less the most that the dry one bears, kPa."""
    becomes_rh: float
    """The humidity of the dry zone at its warmest, with the least that the damp one needs, %RH."""
    at_most_rh: float
    """The most that the dry zone should have, %RH."""

    @property
    def says(self) -> str:
        """One sentence."""
        return (
            f"By {self.when}, {self.damp} and {self.dry} cannot hold with one body of air: with "
            f"the least vapour that {self.damp} needs, {self.dry} is at {self.becomes_rh:.0f} % "
            f"even at its warmest, and should be at {self.at_most_rh:g} % at most "
            f"({self.gap_kpa:.2f} kPa apart)."
        )


class Water(NamedTuple):
    """All that a set of ranges says of the air's water."""

    regions: Mapping[tuple[Zone, When], Region]
    evenings: tuple[Evening, ...]
    apart: tuple[Apart, ...]
    common: Mapping[When, tuple[float, float]]
    """The vapour pressures, kPa, that all zones allow at once; absent where there are none."""


def water(ranges: Mapping[Zone, ZoneRange], aims: Mapping[Zone, ZoneRange]) -> Water:
    """What ranges by zone say of the water in the air.

    Args:
        ranges: what is allowed.
        aims: what is aimed for within that; zones and spans that are absent are as in ``ranges``.
    """
    regions = {
        (zone, when): region
        for zone in IN_THE_AIR
        for when in DAY_AND_NIGHT
        if zone in ranges and (region := _region(getattr(ranges[zone], when))) is not None
    }
    common = {}
    for when in DAY_AND_NIGHT:
        held = [region.vapour_pressure for (_, then), region in regions.items() if then is when]
        if held:
            low, high = max(least for least, _ in held), min(most for _, most in held)
            if low <= high:
                common[when] = (low, high)
    return Water(regions, _evenings(regions, aims), _apart(regions), common)


def _region(spans: Spans) -> Region | None:
    if spans.temperature is None or spans.humidity is None:
        return None
    return Region(spans.temperature, spans.humidity)


def _evenings(
    regions: Mapping[tuple[Zone, When], Region], aims: Mapping[Zone, ZoneRange]
) -> tuple[Evening, ...]:
    """One for each way of going from day to night; zones that are kept alike share it."""
    alike: dict[Evening, list[Zone]] = {}
    for zone in IN_THE_AIR:
        day, night = (regions.get((zone, when)) for when in DAY_AND_NIGHT)
        if day is not None and night is not None:
            evening = _evening(day, night, aims.get(zone, ZoneRange()))
            alike.setdefault(evening, []).append(zone)
    return tuple(replace(evening, zones=tuple(zones)) for evening, zones in alike.items())


def _evening(day: Region, night: Region, aim: ZoneRange) -> Evening:
    by_day, by_night = _middle(day, aim.day), _middle(night, aim.night)
    leaves = cooling(
        day.temperature.low, day.humidity.low, night.temperature.high, night.humidity.high
    ).leaves_g_m3
    comes = cooling(
        day.temperature.high, day.humidity.high, night.temperature.low, night.humidity.low
    ).leaves_g_m3
    least = max(float(leaves), 0.0) + min(float(comes), 0.0)
    return Evening((), by_day, by_night, cooling(*by_day, *by_night), least)


def _middle(region: Region, aim: Spans) -> State:
    return State(
        _mean(aim.temperature or region.temperature), _mean(aim.humidity or region.humidity)
    )


def _mean(span: Span) -> float:
    return (span.low + span.high) / 2.0


def _apart(regions: Mapping[tuple[Zone, When], Region]) -> tuple[Apart, ...]:
    found = []
    for when in DAY_AND_NIGHT:
        here = {zone: region for (zone, then), region in regions.items() if then is when}
        for (damp, wet), (dry, arid) in permutations(here.items(), 2):
            gap = wet.vapour_pressure[0] - arid.vapour_pressure[1]
            if gap > 0:
                becomes = relative_humidity(arid.temperature.high, wet.vapour_pressure[0])
                found.append(Apart(when, damp, dry, gap, becomes, arid.humidity.high))
    return tuple(found)
