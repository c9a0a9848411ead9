"""The cause in words for someone who was asleep a minute ago, and what to look at first."""

from math import isfinite

from monitor.analysis.causes.evidence import CauseKind, Side
from monitor.analysis.causes.figures import Findings
from monitor.analysis.causes.rules import Verdict

UNCHANGED_K = 0.5
"""Below this a temperature or dew point counts as usual."""
UNCHANGED_PERCENT = 5.0

MISTER = "mister: tank, pump, nozzles, timer"
LID = "lid, doors and vents"
HEAT = "heat mat, lamps and their thermostat"
WINDOW = "room: heating, open window, dehumidifier"
SENSOR = "probe: place, cable, battery; compare it with another"

CHECKS: dict[CauseKind, tuple[str, ...]] = {
    CauseKind.DRYING: (MISTER, LID, "substrate: still moist below the surface?"),
    CauseKind.WARMING: (HEAT, "sun on the glass", LID),
    CauseKind.MIXED: (HEAT, LID, MISTER),
    CauseKind.ROOM: (WINDOW, LID),
    CauseKind.PROBE: (SENSOR,),
    CauseKind.SWING: ("limits: inside the usual daily course",),
}
"""What keepers look at first (common practice, no source)."""

CHECKS_HIGH: dict[CauseKind, tuple[str, ...]] = {
    CauseKind.DRYING: ("mister: stuck on, timer", "vents and fan: blocked?", "standing water"),
    CauseKind.WARMING: (HEAT + ": off?", "vents: dew on the glass?"),
    CauseKind.MIXED: (HEAT + ": off?", "mister: stuck on, timer", "vents and fan: blocked?"),
    CauseKind.ROOM: ("room: heating off, humidifier, laundry, window", "vents and fan"),
    CauseKind.PROBE: ("probe: wet sensor, place, cable", "compare it with another"),
    CauseKind.SWING: CHECKS[CauseKind.SWING],
}

NAMES: dict[Side, dict[CauseKind, str]] = {
    Side.LOW: {
        CauseKind.DRYING: "water lost from the enclosure",
        CauseKind.WARMING: "warmth",
        CauseKind.MIXED: "both water and warmth",
        CauseKind.ROOM: "the room's air",
        CauseKind.PROBE: "a false reading",
        CauseKind.SWING: "the usual daily course",
    },
    Side.HIGH: {
        CauseKind.DRYING: "more water in the enclosure",
        CauseKind.WARMING: "cold",
        CauseKind.MIXED: "both water and cold",
        CauseKind.ROOM: "the room's air",
        CauseKind.PROBE: "a false reading",
        CauseKind.SWING: "the usual daily course",
    },
}


def check_first(kind: CauseKind, side: Side, missed: int | None) -> tuple[str, ...]:
    """What to look at, most likely first."""
    if side is Side.HIGH:
        return CHECKS_HIGH[kind]
    if missed and kind in (CauseKind.DRYING, CauseKind.MIXED):
        return (MISTER, *(check for check in CHECKS[kind] if check != MISTER))
    return CHECKS[kind]


def says(verdict: Verdict, side: Side, found: Findings, *, run_up_only: bool) -> str:
    """One or two plain sentences."""
    return _finding(verdict.kind, side, found, run_up_only) + _doubt(verdict, side, found)


def _finding(kind: CauseKind, side: Side, found: Findings, run_up_only: bool) -> str:
    low = side is Side.LOW
    air = _moves(found) if run_up_only else _departures(found)
    match kind:
        case CauseKind.DRYING:
            lead = "Water has left the air" if low else "More water is in the air"
            return f"{lead}: {air}.{_mistings(found) if low else ''}{_others(found)}"
        case CauseKind.WARMING if not run_up_only and _has_cooled(found, low):
            was = "too warm" if low else "too cold"
            return f"It was {was} for hours, and the water has not recovered from that: {air}."
        case CauseKind.WARMING:
            return f"The air has {'warmed' if low else 'cooled'}: {air}."
        case CauseKind.MIXED:
            both = "dried and warmed" if low else "taken up water and cooled"
            return f"The air has both {both}: {air}."
        case CauseKind.ROOM:
            return f"The room's air did it: {_room(found)}; in the enclosure {air}."
        case CauseKind.PROBE:
            if found.probes > found.probes_agree:
                others = "other probe does" if found.probes == 1 else "other probes do"
                return f"Only this probe says so ({air}); the {others} not follow it."
            return f"The reading jumped at once, as no air does: {air}."
        case CauseKind.SWING:
            return (
                f"The usual daily course: {found.humidity:.0f} %RH, usual now "
                f"{found.usual_humidity:.0f}; about this hour the limit was crossed on "
                f"{found.days_crossed} of {found.days} days."
            )


def _departures(found: Findings) -> str:
    dew = _against("dew point", found.dew_point_departure)
    warm = _against("temperature", found.temperature_departure)
    return f"{dew}, {warm}"


def _moves(found: Findings) -> str:
    if not (isfinite(found.dew_point_change) and isfinite(found.temperature_change)):
        return "too little is known of the hours before to give figures"
    minutes = found.run_up_min
    span = f"{minutes:.0f} min" if minutes < 100 else f"{minutes / 60:.1f} h"
    dew, warm = _moved(found.dew_point_change), _moved(found.temperature_change)
    return f"in {span} the dew point {dew} and the temperature {warm}"


def _against(what: str, kelvin: float) -> str:
    if abs(kelvin) < UNCHANGED_K:
        return f"{what} as usual"
    return f"{what} {abs(kelvin):.1f} K {'below' if kelvin < 0 else 'above'} the usual"


def _moved(kelvin: float) -> str:
    if abs(kelvin) < UNCHANGED_K:
        return "stayed"
    return f"{'fell' if kelvin < 0 else 'rose'} by {abs(kelvin):.1f} K"


def _has_cooled(found: Findings, low: bool) -> bool:
    """Whether the warmth (high: cold) that is blamed is over."""
    return (found.temperature_departure if low else -found.temperature_departure) < UNCHANGED_K


def _room(found: Findings) -> str:
    water, warm = found.room_water_percent, found.room_temperature_departure
    if water is None or warm is None:
        return "all probes changed alike"
    signs = []
    if abs(water) >= UNCHANGED_PERCENT:
        signs.append(f"{abs(water):.0f} % {'less' if water < 0 else 'more'} water than usual")
    if abs(warm) >= UNCHANGED_K:
        signs.append(f"{abs(warm):.1f} K {'colder' if warm < 0 else 'warmer'}")
    return ", ".join(signs)


def _others(found: Findings) -> str:
    if not found.probes:
        return ""
    if found.probes_agree == found.probes:
        return " The other probe agrees." if found.probes == 1 else " The other probes agree."
    return f" {found.probes_agree} of {found.probes} other probes agree."


def _mistings(found: Findings) -> str:
    count = found.mistings_missed
    if not count:
        return ""
    return (
        " A usual misting did not come." if count == 1 else f" {count} usual mistings did not come."
    )


def _doubt(verdict: Verdict, side: Side, found: Findings) -> str:
    """What else it could be, and which probe is missing to tell."""
    missing = {
        CauseKind.ROOM: " (no probe there)" if found.room_water_percent is None else "",
        CauseKind.PROBE: " (no second probe to tell)" if not found.probes else "",
    }
    rest = [
        NAMES[side][kind] + missing.get(kind, "")
        for kind in CauseKind
        if kind in verdict.could_be and kind is not verdict.kind
    ]
    if not rest:
        return ""
    return f" It could also be {', '.join(rest[:-1])}{' or ' if rest[1:] else ''}{rest[-1]}."
