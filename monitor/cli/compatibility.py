"""``dewkeep compatibility``: who fits whom, as text or JSON."""

import datetime as dt
import json
import time
from collections.abc import Iterator
from contextlib import closing
from typing import Any

import click

from monitor.cli.options import Instant, config_option
from monitor.errors import NotFound
from monitor.setup.company import company, day_of
from monitor.setup.models import Enclosure
from monitor.setup.settings import Settings
from monitor.species.compatibility import wire
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup
from monitor.times import SECOND_MS

NO_ADVICE = (
    "Ranges are starting points, not veterinary advice; see a vet who treats the species. Keeping "
    "some species needs a permit."
)
MOST_SHOWN = 5
"""Candidates of each kind that are listed; --json has all."""


@click.command("compatibility")
@click.argument("enclosure", required=False)
@click.option("--species", multiple=True, help="A species to think of; may be given again.")
@click.option("--at", "at_ms", type=Instant(), help="The day whose season counts; default: now.")
@click.option("--json", "as_json", is_flag=True, help="What the API would answer.")
@config_option
def command(
    enclosure: str | None,
    species: tuple[str, ...],
    at_ms: int | None,
    as_json: bool,
    settings: Settings,
) -> None:
    """Tell whether the inhabitants of ENCLOSURE belong together, and who else would.

    With --species as if those lived there too; without ENCLOSURE, those alone.
    """
    if enclosure is None and not species:
        raise click.UsageError("name an ENCLOSURE, or who is to live together with --species")
    at_ms = time.time_ns() // 1_000_000 if at_ms is None else at_ms
    library = load_library(settings.setup.species)
    place = None if enclosure is None else _enclosure(settings, enclosure)
    if place is None:
        on_date = dt.datetime.fromtimestamp(at_ms / SECOND_MS, dt.UTC).date()
        found = wire(company(species, {}, library, on_date))
    else:
        living = [each.species for each in place.inhabitant]
        on_date = day_of(place, at_ms)
        found = wire(company([*living, *species], place.range, library, on_date), place.volume_l)
        found = {"enclosure": enclosure, **found}
    click.echo(json.dumps(found, ensure_ascii=False) if as_json else "\n".join(_lines(found)))


def _enclosure(settings: Settings, enclosure: str) -> Enclosure:
    with closing(Database(settings.store.path)) as database, database.reading() as connection:
        place, _ = setup.get(connection, enclosure)
    if not isinstance(place, Enclosure):
        raise NotFound(f"no enclosure {enclosure!r} is set up")
    return place


def _lines(found: dict[str, Any]) -> Iterator[str]:
    yield found["says"]
    water = found["water"]
    sections = {
        "Conflicts": found["conflicts"],
        "In other months": found["in_other_months"],
        "Risks": found["risks"],
        "Water in the air": [each for each in water["evenings"] if each["says"]] + water["apart"],
    }
    for title, entries in sections.items():
        if entries:
            yield f"\n{title}"
        for each in entries:
            months = ", ".join(map(str, each.get("months", ())))
            yield f"  {each['says']}" + (f" (months {months})" if months else "")
    for each in found["alternatives"]:
        yield f"\nInstead of {each['instead_of']}: {each['name']} ({each['species']})"
        yield f"  {each['says']}"
    fitting = [each for each in found["candidates"] if each["fit"] is not None]
    for kind in ("plant", "crew"):
        shown = [each for each in fitting if each["kind"] == kind][:MOST_SHOWN]
        if shown:
            yield f"\nWould fit ({kind})"
        for each in shown:
            yield f"  {each['fit']:4.0%}  {each['name']} ({each['species']}). {each['says']}"
    names = {each["species"]: each["name"] for each in found["inhabitants"]}
    yield "\nCautions"
    for each in found["cautions"]:
        yield f"  {names[each['species']]}: {each['says']}"
    yield f"  {NO_ADVICE}"
