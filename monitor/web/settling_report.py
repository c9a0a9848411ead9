"""The settling report: a verdict with all that it rests on, made for paper."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, NamedTuple

import numpy as np
from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse

from monitor.analysis.settling import Criterion, Name, Result, Verdict
from monitor.analysis.settling.portrait import Portrait, portrait
from monitor.analysis.settling.wording import WORDS, count, on_date
from monitor.api.access import MayView
from monitor.api.parts import GivenParts
from monitor.api.spans import Instant
from monitor.jobs.settling import Assessed
from monitor.quantities import Quantity
from monitor.setup.settling import DEFAULT
from monitor.species.library import Library
from monitor.species.ranges import Zone
from monitor.species.settling import SettlingLimits
from monitor.web import words
from monitor.web.guard import Page
from monitor.web.plots import Plot, course_plot, cycle_plot, mould_plot, share_plot
from monitor.web.rendering import ASSETS, render

router = APIRouter(route_class=Page, include_in_schema=False)

STYLE = "settling_report.css"
SAYS = {
    Verdict.COLLECTING: "Too few readings yet to judge it",
    Verdict.UNSETTLED: "Not settled",
    Verdict.SETTLING: "Settling",
    Verdict.SETTLED: "Settled",
}
RESULTS = {Result.PASS: "yes", Result.FAIL: "no", Result.UNKNOWN: "open"}
TITLES = {
    Name.AGE: "Age",
    Name.COVERAGE: "Readings",
    Name.TIME_IN_RANGE_DAY: "In range by day",
    Name.TIME_IN_RANGE_NIGHT: "In range by night",
    Name.EVENNESS: "Even",
    Name.STILL_TO_COME: "Little still to come",
    Name.DAILY_CYCLE: "Days alike",
    Name.RECOVERY: "Dries after misting",
    Name.STAGNATION: "No stagnant air",
    Name.DRY_OUT: "Daily drying",
    Name.MOULD: "Mould",
    Name.SPRINGTAILS: "Springtails",
    Name.ISOPODS: "Isopods",
    Name.PLANTS: "Plants",
}


class Row(NamedTuple):
    """A criterion as it is listed."""

    result: str
    word: str
    title: str
    says: str
    required: str
    earliest: str


class LimitRow(NamedTuple):
    """A limit, what it is, and where it comes from."""

    name: str
    value: str
    origin: str
    means: str


class Part(NamedTuple):
    """A heading with a sentence of how to read what follows, and the plots."""

    title: str
    reads: str
    plots: tuple[Plot, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """All that the page shows, in words and shapes."""

    name: str
    verdict: str
    word: str
    as_of: str
    facts: tuple[str, ...]
    holds_it_up: str | None
    earliest: str | None
    watched_since: str | None
    """Since when it has been settled; what is open then does not undo it."""
    rows: tuple[Row, ...]
    asides: tuple[str, ...]
    parts: tuple[Part, ...]
    limits: tuple[LimitRow, ...]
    history: tuple[str, ...]


@router.get("/enclosures/{enclosure}/settling/report")
def settling_report(
    enclosure: str,
    parts: GivenParts,
    _who: MayView,
    at: Annotated[Instant | None, Query()] = None,
) -> HTMLResponse:
    """The report on one enclosure, as of now or of a time."""
    assessed = parts.assessor.assess(enclosure, parts.clock() if at is None else at)
    return HTMLResponse(page(assessed, parts.library))


def page(assessed: Assessed, library: Library, *, alone: bool = False) -> str:
    """The report as HTML; ``alone``: with its style in it, for a file that is sent about."""
    style = ASSETS[STYLE].content.decode() if alone else None
    return render("settling_report.html", report=report(assessed, library), style=style)


def report(assessed: Assessed, library: Library) -> Report:
    """The report on an assessment."""
    settling, limits = assessed.settling, assessed.limits
    shown = portrait(assessed.build, limits.values)
    return Report(
        name=assessed.enclosure.name,
        verdict=settling.verdict.value,
        word=SAYS[settling.verdict],
        as_of=_as_of(assessed),
        facts=tuple(_facts(assessed, library, shown)),
        holds_it_up=settling.holds_it_up,
        earliest=None if settling.earliest is None else _day(settling.earliest),
        watched_since=_watched_since(assessed),
        rows=tuple(map(_row, sorted(settling.criteria, key=lambda each: not each.is_open))),
        asides=tuple(each.says for each in settling.asides),
        parts=tuple(part for part in _parts(assessed, shown) if part.plots),
        limits=tuple(_limits(assessed)),
        history=tuple(_history(assessed)),
    )


def _as_of(assessed: Assessed) -> str:
    local = dt.datetime.fromtimestamp(assessed.settling.at_ms / 1000, assessed.build.clock)
    return f"{_day(local.date())}, {local:%H:%M}"


def _watched_since(assessed: Assessed) -> str | None:
    last = assessed.last
    if last is None or not assessed.build.was_settled:
        return None
    return _day(dt.datetime.fromtimestamp(last.since_ms / 1000, assessed.build.clock).date())


def _facts(assessed: Assessed, library: Library, shown: Portrait) -> Iterator[str]:
    age = count(max(0, (shown.today - shown.built_on).days), "day")
    if assessed.enclosure.built_on is None:
        yield f"First reading on {_day(shown.built_on)}, {age} ago; no day of building written down"
    else:
        yield f"Built on {_day(shown.built_on)}, {age} ago"
    names = [library.profile(each.species).name for each in assessed.enclosure.inhabitant]
    if names:
        yield f"For {', '.join(names)}"
    zones = dict.fromkeys(probe.zone.value for probe in assessed.enclosure.probe)
    if zones:
        yield f"Probes: {', '.join(zones)}"


def _row(criterion: Criterion) -> Row:
    return Row(
        result=criterion.result.value,
        word=RESULTS[criterion.result],
        title=TITLES[criterion.name],
        says=criterion.says,
        required=criterion.required,
        earliest="" if criterion.earliest is None else on_date(criterion.earliest),
    )


def _parts(assessed: Assessed, shown: Portrait) -> Iterator[Part]:
    limits = assessed.limits.values
    yield Part(
        "Is the climate even?",
        "Dots are the means of single days, the heavy line is their trend. The shaded fan holds "
        "the slopes that the limit allows: an even climate has its trend well inside."
        + (
            " Where the room is measured, the trend is what is left without the room's weather."
            if any(each.without_room for each in shown.courses)
            else ""
        ),
        tuple(
            course_plot(
                each,
                shown.dates,
                _topic(each.zone, each.quantity),
                _says(assessed, Name.EVENNESS, each.zone, each.quantity),
            )
            for each in shown.courses
            if not np.isnan(each.value).all()
        ),
    )
    yield Part(
        "Is one day like the next?",
        f"The last {count(limits.recent_days, 'day')} over one another, hour by hour: pale the "
        "oldest, dark yesterday.",
        tuple(
            cycle_plot(
                each,
                _topic(each.zone, each.quantity),
                _says(assessed, Name.DAILY_CYCLE, each.zone, each.quantity),
            )
            for each in shown.cycles
            if not np.isnan(each.hourly).all()
        ),
    )
    yield Part(
        "Has the mould come and gone?",
        "Each mark is a look inside; the dashes between them only join what was seen. Cover runs "
        "from 0, none, to 5, all over. Below: what else was seen (filled), not seen (a cross), or "
        "standing but not yet rooted (a ring).",
        (mould_plot(shown, "Looks", _says(assessed, Name.MOULD, None, None)),),
    )
    yield Part(
        "Is it in range?",
        "The share of each day's hours within range: light bars by day, dark ones by night. The "
        f"line is what is asked of the last {count(limits.recent_days, 'day')} together.",
        tuple(_shares(assessed, shown, limits)),
    )


def _shares(assessed: Assessed, shown: Portrait, limits: SettlingLimits) -> Iterator[Plot]:
    pairs = {(each.zone, each.quantity): None for each in shown.shares}
    for zone, quantity in pairs:
        here = {each.name: each for each in shown.shares if each[1:3] == (zone, quantity)}
        yield share_plot(
            here.get(Name.TIME_IN_RANGE_DAY),
            here.get(Name.TIME_IN_RANGE_NIGHT),
            shown.dates,
            100.0 * limits.time_in_range,
            _topic(zone, quantity),
            " ".join(_says(assessed, name, zone, quantity) for name in here),
        )


def _says(assessed: Assessed, name: Name, zone: Zone | None, quantity: Quantity | None) -> str:
    """The sentence of a criterion, without the zone that the title of its plot names."""
    says = next(
        each.says
        for each in assessed.settling.criteria
        if (each.name, each.zone, each.quantity) == (name, zone, quantity)
    )
    return words.capital(says.removeprefix(f"{zone}: "))


def _limits(assessed: Assessed) -> Iterator[LimitRow]:
    """Those that someone set first."""
    values, origin = assessed.limits
    means = {name: field.description or "" for name, field in SettlingLimits.model_fields.items()}
    rows = [
        LimitRow(name, f"{value:g}", origin[name], means[name])
        for name, value in values.model_dump().items()
    ]
    yield from sorted(rows, key=lambda row: row.origin == DEFAULT)


def _history(assessed: Assessed) -> Iterator[str]:
    """How the verdict changed, oldest first, and what last held each up."""
    clock = assessed.build.clock
    for row in assessed.history:
        since = dt.datetime.fromtimestamp(row.since_ms / 1000, clock).date()
        yield f"{_day(since)}: {row.verdict}. {row.says or ''}".rstrip()


def _topic(zone: Zone, quantity: Quantity) -> str:
    return f"{zone.value.capitalize()}, {WORDS[quantity]}"


def _day(date: dt.date) -> str:
    return f"{on_date(date)} {date.year}"
