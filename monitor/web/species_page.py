"""The species pages: all profiles, and each with its numbers and how far they are known."""

from collections.abc import Iterable
from typing import NamedTuple

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from monitor.api.access import MayView
from monitor.api.parts import GivenParts
from monitor.species.profile import GRADES, CitedRange, Kind, Profile, Provenance
from monitor.web import words
from monitor.web.guard import Page
from monitor.web.shell import page
from monitor.web.units import Units
from monitor.web.viewer import viewer_of

router = APIRouter(route_class=Page, include_in_schema=False)


class Group(NamedTuple):
    """Profiles of one kind, by name."""

    name: str
    profiles: list[Profile]


class Row(NamedTuple):
    """One set of numbers: what, where and when, by grade, and where they come from."""

    quantity: str
    where: str
    grades: list[str]
    basis: str
    used: bool


class Part(NamedTuple):
    """The whole year, or a season with its name and months."""

    name: str
    basis: str | None
    rows: list[Row]


@router.get("/species")
def every(request: Request, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """All profiles by kind."""
    profiles = sorted(
        (parts.library.profile(each) for each in parts.library),
        key=lambda profile: profile.name.casefold(),
    )
    groups = [
        Group(words.SPECIES_KINDS[kind], [each for each in profiles if each.kind is kind])
        for kind in Kind
    ]
    return page(request, "species.html", here="species", groups=groups, count=len(profiles))


@router.get("/species/{species}")
def one(request: Request, species: str, parts: GivenParts, _who: MayView) -> HTMLResponse:
    """One profile with the provenance of each number."""
    profile, units = parts.library.profile(species), viewer_of(request).units
    seasons = [
        Part(
            words.SEASON.format(words.capital(each.name), words.months(each.months)),
            _basis(each),
            _rows(each.range, units),
        )
        for each in profile.season
    ]
    drying = profile.dry_out
    return page(
        request,
        "profile.html",
        here="species",
        profile=profile,
        grades=[words.GRADES[grade] for grade in GRADES],
        periods=[Part(words.ALL_YEAR, None, _rows(profile.range, units)), *seasons],
        drying=drying and words.DRYING.format(drying.below, drying.hours_a_day, _basis(drying)),
        size=profile.size and words.SIZE.format(profile.size.length_mm, _basis(profile.size)),
        facts=[
            (name, text)
            for name, text in (
                (words.GROUND, profile.substrate),
                (words.MOULT, profile.moult),
                (words.FOOD, profile.prey),
            )
            if text
        ],
    )


def _rows(ranges: Iterable[CitedRange], units: Units) -> list[Row]:
    rows = []
    for each in ranges:
        grades = each.grades()
        where = words.listed([words.ZONES[zone] for zone in each.zones]) or words.ALL_AIR
        rows.append(
            Row(
                quantity=words.capital(words.COURSES[each.quantity]),
                where=words.WHERE_AND_WHEN[each.when].format(where),
                grades=[
                    words.span_in(units, each.quantity, grades[grade]) if grade in grades else ""
                    for grade in GRADES
                ],
                basis=_basis(each),
                used=each.used,
            )
        )
    return rows


def _basis(known: Provenance) -> str:
    return known.basis if known.source is None else f"{known.basis}: {known.source}"
