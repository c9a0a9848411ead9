"""What stands on a hand-over sheet: an enclosure, its company and its journal in plain words."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from markupsafe import Markup

from monitor.quantities import MEASURED, Quantity
from monitor.setup.journal import Inspection, Misted, MistingPlan
from monitor.setup.models import Enclosure, Spans, Zone, ZoneRange
from monitor.species.compatibility import Compatibility
from monitor.species.library import Library
from monitor.species.profile import Basis, Kind, Profile
from monitor.species.wording import listed, places, spelt
from monitor.store.sqlite.state.journal import JournalRow
from monitor.times import SECOND_MS, day_in_words

MISTED_DAYS = 14
"""How far back mistings are counted where no plan was taken."""
QUANTITIES = {
    Quantity.TEMPERATURE: "",
    Quantity.HUMIDITY: " humidity",
    Quantity.SUBSTRATE_MOISTURE: " moisture of the ground",
    Quantity.SURFACE_TEMPERATURE: " on surfaces",
}
BEYOND = {
    Quantity.TEMPERATURE: ("colder", "warmer"),
    Quantity.HUMIDITY: ("drier", "damper"),
    Quantity.SUBSTRATE_MOISTURE: ("drier ground", "wetter ground"),
    Quantity.SURFACE_TEMPERATURE: ("colder surfaces", "hotter surfaces"),
}
PLANTS = {"standing": "plants stand", "wilting": "plants wilt", "rooted": "plants have rooted"}


@dataclass(frozen=True, slots=True)
class Resident:
    """One inhabitant on paper."""

    profile: Profile
    count: int | None
    since: str | None
    basis: Basis
    """The least certain of the numbers used for it."""


class Row(NamedTuple):
    """Zones that are kept alike, and what they need in words."""

    where: str
    day: list[str]
    night: list[str]
    never: list[str]


class Noted(NamedTuple):
    """A journal entry on paper."""

    date: str
    says: str


class Misting(NamedTuple):
    """How it is misted."""

    since: str | None
    """The day the plan was taken; None without a plan."""
    times: list[str]
    says: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """All that stands on a hand-over sheet."""

    enclosure: Enclosure
    date: str
    residents: list[Resident]
    rows: list[Row]
    seasons: list[str]
    drying: list[str]
    misting: Misting
    noted: Mapping[str, list[Noted]]
    watch: list[str]
    cautions: list[str]
    address: str | None
    """Where its page is; None where no other machine could reach it."""
    code: Markup | None = field(repr=False)
    """The same as a QR code, SVG."""

    @property
    def animals(self) -> list[Resident]:
        """Those it is all there for."""
        return [each for each in self.residents if each.profile.kind is Kind.ANIMAL]

    @property
    def others(self) -> list[Resident]:
        """Plants and crew."""
        return [each for each in self.residents if each.profile.kind is not Kind.ANIMAL]


def residents_of(place: Enclosure, library: Library) -> list[Resident]:
    """Who lives there, the animal first."""
    residents = []
    for each in place.inhabitant:
        profile = library.profile(each.species)
        basis = max((cited.basis for cited in profile.range if cited.used), key=list(Basis).index)
        since = None if each.since is None else date_of(each.since)
        residents.append(Resident(profile, each.count, since, basis))
    order = list(Kind)
    return sorted(residents, key=lambda each: order.index(each.profile.kind))


def watched_zones(place: Enclosure, found: Compatibility) -> set[Zone]:
    """Zones that have a range and a probe or a word of the keeper's; all, if none has."""
    named = {probe.zone for probe in place.probe} | place.range.keys()
    return named & found.ranges.keys() or set(found.ranges)


def rows_of(place: Enclosure, found: Compatibility) -> list[Row]:
    """One row for all zones that are kept alike; of those that are watched, if any are."""
    zones = [zone for zone in found.ranges if zone in watched_zones(place, found)]
    alike: dict[str, list[Zone]] = {}
    rows: dict[str, tuple[ZoneRange, ZoneRange]] = {}
    for zone in zones:
        ranges, aims = found.ranges[zone], found.aims[zone]
        key = ranges.model_dump_json() + aims.model_dump_json()
        alike.setdefault(key, []).append(zone)
        rows[key] = (ranges, aims)
    return [
        Row(
            places(alike[key]),
            _aimed(ranges.day, aims.day),
            _aimed(ranges.night, aims.night),
            _never(ranges.critical),
        )
        for key, (ranges, aims) in rows.items()
    ]


def _aimed(allowed: Spans, aimed: Spans) -> list[str]:
    wanted = aimed.given()
    lines = []
    for quantity, span in allowed.given().items():
        best = wanted.get(quantity, span)
        wider = "" if best == span else f" ({span.low:g} to {span.high:g})"
        lines.append(f"{spelt(best, quantity)}{wider}{QUANTITIES[quantity]}")
    return lines


def _never(critical: Spans) -> list[str]:
    lines = []
    for quantity, span in critical.given().items():
        trait = MEASURED[quantity]
        sign = spelt(span, quantity).rsplit(" ", 1)[1]
        low, high = BEYOND[quantity]
        edges = [
            f"{word} than {edge:g} {sign}"
            for word, edge, end in ((low, span.low, trait.lowest), (high, span.high, trait.highest))
            if edge != end
        ]
        if edges:
            lines.append(" or ".join(edges))
    return lines


def seasons_of(found: Compatibility) -> list[str]:
    """When other ranges hold than those of today."""
    return [
        f"{each.name}, {season.name} ({_months(season.months)}): other ranges hold then."
        for each in found.company
        for season in each.season
    ]


def drying_of(found: Compatibility) -> list[str]:
    """Who needs the air to dry out every day."""
    return [
        f"{each.name}: the air must be below {each.dry_out.below:g} % for "
        f"{each.dry_out.hours_a_day:g} hours every day ({each.dry_out.basis})."
        for each in found.company
        if each.dry_out is not None
    ]


def misting_of(
    place: Enclosure, plans: Sequence[JournalRow], mistings: Sequence[JournalRow]
) -> Misting:
    """The plan that holds, else what was done lately."""
    if plans and isinstance(plan := plans[0].entry, MistingPlan):
        times = [f"{each.at:%H:%M} for {each.seconds:g} s" for each in plan.times]
        says = plan.note or ("" if times else "No misting any more.")
        return Misting(_day(place, plan.at_ms), times, says)
    done = [row.entry for row in mistings if isinstance(row.entry, Misted)]
    if not done:
        says = f"No plan was taken, and no misting noted in the last {MISTED_DAYS} days."
        return Misting(None, [], says)
    hours: dict[str, int] = {}
    for each in done:
        hour = f"{_local(place, each.at_ms):%H}:00"
        hours[hour] = hours.get(hour, 0) + 1
    most = sorted(hours, key=lambda hour: (-hours[hour], hour))[:3]
    says = (
        f"No plan was taken. In the last {MISTED_DAYS} days it was misted {len(done)} times, "
        f"mostly in the hour after {listed(sorted(most))}."
    )
    return Misting(None, [], says)


def noted(place: Enclosure, row: JournalRow) -> Noted:
    """One entry in words."""
    entry = row.entry
    words = []
    if isinstance(entry, Inspection):
        if entry.mould_cover is not None:
            words.append(f"mould {entry.mould_cover} of 5")
        seen = {"springtails": entry.springtails_seen, "isopods": entry.isopods_seen}
        for who, was in seen.items():
            if was is not None:
                words.append(f"{who} {'seen' if was else 'not seen'}")
        if entry.plants is not None:
            words.append(PLANTS[entry.plants])
    says = ", ".join(words)
    says = ". ".join(part for part in (says, entry.note) if part)
    return Noted(_day(place, entry.at_ms), says or "done")


def watch_of(place: Enclosure, found: Compatibility) -> list[str]:
    """What is not as it should be, or may go wrong."""
    names = {each.id: each.name for each in found.company}
    conflicts = [each.says(names) for each in found.conflicts if not found.bridged(each)]
    apart = [each.says for each in found.water.apart]
    watched = watched_zones(place, found)
    telling = [each for each in found.water.evenings if each.says and watched & set(each.zones)]
    worst = sorted(telling, key=lambda each: -abs(each.least_g_m3) - float(each.aimed.dew_g_m3))
    evening = [each.says for each in worst[:1]]
    return [*conflicts, *(each.says for each in found.risks), *apart, *evening]


def _months(months: Iterable[int]) -> str:
    return ", ".join(day_in_words(dt.date(2000, month, 1)).split()[1] for month in months)


def date_of(day: dt.date) -> str:
    """A date in whatever locale."""
    return f"{day_in_words(day)} {day.year}"


def _local(place: Enclosure, at_ms: int) -> dt.datetime:
    return dt.datetime.fromtimestamp(at_ms / SECOND_MS, place.zone_info)


def _day(place: Enclosure, at_ms: int) -> str:
    return date_of(_local(place, at_ms).date())
