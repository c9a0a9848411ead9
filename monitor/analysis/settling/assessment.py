"""The assessment: all criteria of a build, and the verdict they amount to."""

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import NamedTuple, TypeVar

from monitor.analysis.settling.build import Build
from monitor.analysis.settling.climate import JUDGED, Climate, climates
from monitor.analysis.settling.coverage import coverage
from monitor.analysis.settling.crew import crew, plants
from monitor.analysis.settling.criteria import Aside, Criterion, Name, Result, Settling, Verdict
from monitor.analysis.settling.cycle import daily_cycle
from monitor.analysis.settling.days import ONE_DAY, Days, local_date
from monitor.analysis.settling.evenness import evenness
from monitor.analysis.settling.moisture import AIR, dry_out, dry_out_zones, stagnation
from monitor.analysis.settling.mould import Look, mould
from monitor.analysis.settling.mould_index import mould_index
from monitor.analysis.settling.range_time import time_in_range
from monitor.analysis.settling.recovery import recovery
from monitor.analysis.settling.stillness import still_to_come
from monitor.analysis.settling.wording import count, on_date
from monitor.quantities import Quantity
from monitor.species.ranges import Zone, ZoneRange
from monitor.species.settling import SettlingLimits

T = TypeVar("T")

CYCLING = (Quantity.TEMPERATURE, Quantity.HUMIDITY)
ORDER = list(Name)


def assess(build: Build, limits: SettlingLimits | None = None) -> Settling:
    """How far a build has come at ``build.at_ms``. Whole local days are judged, not the present."""
    limits = limits or SettlingLimits()
    today = local_date(build.at_ms, build.clock)
    found = ground(build)
    criteria = [
        _age(build, found.built_on, today, limits),
        *_of_climate(build, found.zones, found.room, limits),
        *_of_life(build, found.built_on, today, limits),
    ]
    criteria.sort(key=lambda each: ORDER.index(each.name))
    return _judged(build, tuple(criteria), tuple(_asides(found.zones.values())))


class Ground(NamedTuple):
    """What a build's climate is judged on: its whole days, and the climates of its zones."""

    built_on: dt.date
    days: Days
    zones: Mapping[Zone, Climate]
    room: Climate | None


def ground(build: Build) -> Ground:
    """The whole days of a build up to yesterday; without a day of building, from the first reading.

    ``zones`` are those with a probe.
    """
    today = local_date(build.at_ms, build.clock)
    first_reading = _first_reading(build, today)
    built_on = build.built_on or first_reading
    days = Days.between(max(built_on, first_reading), today - ONE_DAY, build.clock)
    zones = climates(build.probes, days)
    room = zones.pop(Zone.ROOM, None)
    return Ground(built_on, days, zones, room)


def _first_reading(build: Build, today: dt.date) -> dt.date:
    """The day of the first reading in the enclosure; today if there is none."""
    firsts = [
        int(samples.at_ms.min())
        for probe in build.probes
        for samples in (probe.temperature, probe.humidity)
        if probe.zone is not Zone.ROOM and len(samples.at_ms)
    ]
    return min(local_date(min(firsts), build.clock), today) if firsts else today


def _age(build: Build, built_on: dt.date, today: dt.date, limits: SettlingLimits) -> Criterion:
    age = max(0, (today - built_on).days)
    since = f"built on {on_date(built_on)}"
    if build.built_on is None:
        since = f"the first reading is of {on_date(built_on)}, no day of building is written down"
    old_enough = age >= limits.age_days
    return Criterion(
        name=Name.AGE,
        zone=None,
        quantity=None,
        value=float(age),
        unit="d",
        required=f"at least {count(limits.age_days, 'day')}",
        result=Result.PASS if old_enough else Result.FAIL,
        says=f"Age: {count(age, 'day')}; {since}.",
        earliest=None if old_enough else built_on + limits.age_days * ONE_DAY,
    )


def _of_climate(
    build: Build, zones: Mapping[Zone, Climate], room: Climate | None, limits: SettlingLimits
) -> Iterator[Criterion]:
    """The criteria that the probes answer."""
    if not zones:
        yield _missing(Name.COVERAGE, "a probe", "There is no probe in the enclosure.")
    ranged = False
    for zone, climate in zones.items():
        yield coverage(climate, build.clock, limits)
        lit = build.is_day(climate.days.bin_ms)
        for criterion in time_in_range(climate, build.ranges.get(zone, ZoneRange()), lit, limits):
            ranged = True
            yield criterion
        for quantity in filter(climate.has, JUDGED):
            daily = climate.daily(quantity, room)
            yield evenness(zone, quantity, daily, climate.days, limits)
            if quantity is Quantity.HUMIDITY:
                yield still_to_come(zone, daily, climate.days, limits)
        for quantity in filter(climate.has, CYCLING):
            yield daily_cycle(climate, quantity, limits)
        if zone in AIR and climate.has(Quantity.HUMIDITY):
            yield stagnation(climate, limits)
            recovered = recovery(climate, build.mistings_ms(), limits)
            if recovered is not None:
                yield recovered
    if not ranged:
        says = "No range is known where there is a probe; name the inhabitants, or write ranges."
        yield _missing(Name.TIME_IN_RANGE_DAY, "a range for a zone with a probe", says)
    for zone in dry_out_zones(zones):
        for need in build.dry_out:
            yield dry_out(zones[zone], need, limits)


def _missing(name: Name, required: str, says: str) -> Criterion:
    return Criterion(name, None, None, None, None, required, Result.UNKNOWN, says)


def _of_life(
    build: Build, built_on: dt.date, today: dt.date, limits: SettlingLimits
) -> Iterator[Criterion]:
    """The criteria that only a keeper's looks answer."""
    looks = [(local_date(look.at_ms, build.clock), look) for look in build.looks()]
    looks = [(date, look) for date, look in looks if date >= built_on]
    covers = [Look(date, each.mould_cover) for date, each in looks if each.mould_cover is not None]
    yield mould(covers, built_on, today, limits)
    if build.has_springtails:
        seen = [(date, each.springtails_seen) for date, each in looks]
        yield crew(Name.SPRINGTAILS, _told(seen), today, limits)
    if build.has_isopods:
        seen = [(date, each.isopods_seen) for date, each in looks]
        yield crew(Name.ISOPODS, _told(seen), today, limits)
    if build.has_plants:
        yield plants(_told([(date, each.plants) for date, each in looks]), today, limits)


def _told(found: Iterable[tuple[dt.date, T | None]]) -> list[tuple[dt.date, T]]:
    """What was looked at: findings of which nothing was told are left out."""
    return [(date, each) for date, each in found if each is not None]


def _judged(build: Build, criteria: tuple[Criterion, ...], asides: tuple[Aside, ...]) -> Settling:
    """The verdict, and what it hangs on."""
    if build.was_settled:
        against = [each for each in criteria if each.relapsed]
        verdict = Verdict.UNSETTLED if against else Verdict.SETTLED
        earliest = None
    else:
        against = sorted((each for each in criteria if each.is_open), key=_urgency)
        verdict, earliest = _standing(against)
    holds_it_up = against[0].says if against else None
    return Settling(build.at_ms, verdict, criteria, holds_it_up, earliest, asides)


def _standing(against: Sequence[Criterion]) -> tuple[Verdict, dt.date | None]:
    """The verdict that open criteria leave, the most urgent first, and when all could pass."""
    if not against:
        return Verdict.SETTLED, None
    dates = [each.earliest for each in against if each.earliest is not None]
    earliest = max(dates) if len(dates) == len(against) else None
    if any(each.name is Name.COVERAGE for each in against):
        return Verdict.COLLECTING, earliest
    return (Verdict.UNSETTLED if earliest is None else Verdict.SETTLING), earliest


def _urgency(criterion: Criterion) -> tuple[bool, bool, int]:
    """Sorts what is open: missing readings, what time will not cure, what takes longest."""
    waits = 0 if criterion.earliest is None else -criterion.earliest.toordinal()
    return criterion.name is not Name.COVERAGE, criterion.earliest is not None, waits


def _asides(zones: Iterable[Climate]) -> Iterator[Aside]:
    """The mould index of each zone, for what it is worth."""
    for climate in zones:
        both = (climate.hourly(each).ravel() for each in CYCLING)
        index = mould_index(*both)
        if not len(index):
            continue
        reached = float(index[-1])
        says = (
            f"{climate.zone}: mould index {reached:.1f} of 6 for bare wood in this climate; it "
            "ranks the risk and cannot say that a bloom is over."
        )
        yield Aside("mould_index", climate.zone, reached, says)
