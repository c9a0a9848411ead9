"""Compatibility as JSON, for the API and the command line."""

from collections.abc import Mapping
from typing import Any

from monitor.quantities import unit_of
from monitor.species.compatibility.alternatives import Candidate
from monitor.species.compatibility.assessment import Compatibility
from monitor.species.compatibility.refuge import SAYS
from monitor.species.compatibility.water import Evening, Water
from monitor.species.envelope import Conflict
from monitor.species.ranges import Zone, ZoneRange

LITRES_PER_M3 = 1000.0


def wire(found: Compatibility, volume_l: float | None = None) -> dict[str, Any]:
    """What the API answers; with the enclosure's volume, amounts of water in grams too."""
    return {
        "on": found.on_date.isoformat(),
        "verdict": found.verdict,
        "says": found.says,
        "inhabitants": [
            {"species": each.id, "name": each.name, "kind": each.kind} for each in found.company
        ],
        "ranges": _ranges(found.ranges),
        "aims": _ranges(found.aims),
        "conflicts": [_conflict(each, found) for each in found.conflicts],
        "in_other_months": [
            {"months": list(each.months), **_conflict(each.conflict, found)} for each in found.later
        ],
        "risks": [
            {
                "kind": each.what,
                "species": each.species,
                "because_of": each.other,
                "serious": each.serious,
                "says": each.says,
            }
            for each in found.risks
        ],
        "water": _water(found.water, volume_l),
        "alternatives": [
            {"instead_of": each.instead_of, **_candidate(each.candidate)}
            for each in found.alternatives
        ],
        "candidates": [_candidate(each) for each in found.candidates],
        "cautions": [
            {"species": each.id, "says": caution}
            for each in found.company
            for caution in each.cautions
        ],
    }


def _ranges(ranges: Mapping[Zone, ZoneRange]) -> dict[str, Any]:
    return {
        zone: {when: spans for when, spans in held.model_dump(exclude_none=True).items() if spans}
        for zone, held in ranges.items()
    }


def _conflict(each: Conflict, found: Compatibility) -> dict[str, Any]:
    says = each.says({profile.id: profile.name for profile in found.company})
    bridged = found.bridged(each)
    return {
        "quantity": each.quantity,
        "unit": unit_of(each.quantity),
        "when": each.when,
        "zones": list(each.zones),
        "species": list(each.odds.species),
        "needs": [[span.low, span.high] for span in each.odds.spans],
        "apart": each.odds.apart,
        "yields": list(each.odds.yields),
        "bridged": bridged,
        "says": f"{says} {SAYS}" if bridged else says,
    }


def _candidate(each: Candidate) -> dict[str, Any]:
    return {
        "species": each.species,
        "name": each.name,
        "kind": each.kind,
        "crew": each.crew,
        "fit": None if each.fit is None else round(each.fit, 3),
        "says": each.says,
    }


def _water(found: Water, volume_l: float | None) -> dict[str, Any]:
    regions = []
    for (zone, when), region in found.regions.items():
        outline = region.outline()
        regions.append(
            {
                "zone": zone,
                "when": when,
                "temperature": [round(value, 3) for value in outline.temperature.tolist()],
                "vapour_pressure": [round(value, 4) for value in outline.vapour_pressure.tolist()],
            }
        )
    return {
        "regions": regions,
        "common_vapour_pressure": {
            when: [round(edge, 4) for edge in span] for when, span in found.common.items()
        },
        "evenings": [_evening(each, volume_l) for each in found.evenings],
        "apart": [
            {
                "when": each.when,
                "damp": each.damp,
                "dry": each.dry,
                "gap_kpa": round(each.gap_kpa, 4),
                "becomes_rh": round(each.becomes_rh, 1),
                "at_most_rh": each.at_most_rh,
                "says": each.says,
            }
            for each in found.apart
        ],
    }


def _evening(each: Evening, volume_l: float | None) -> dict[str, Any]:
    leaves = float(each.aimed.leaves_g_m3)
    grams = None if volume_l is None else round(leaves * volume_l / LITRES_PER_M3, 3)
    return {
        "zones": list(each.zones),
        "by_day": each.by_day._asdict(),
        "by_night": each.by_night._asdict(),
        "leaves_g_m3": round(leaves, 3),
        "leaves_g": grams,
        "dew_g_m3": round(float(each.aimed.dew_g_m3), 3),
        "dew_point_by_day": round(float(each.aimed.dew_point), 2),
        "least_g_m3": round(each.least_g_m3, 3),
        "says": each.says,
    }
