"""The set-up as a TOML file: read, checked against the species at hand, and written again."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

import tomli_w

from monitor.documents.problems import Route, hint, key_of
from monitor.documents.toml import parse, read_toml
from monitor.errors import Problem, SettingsError
from monitor.setup.models import Inhabitant, Setup
from monitor.species.library import Library

NUMBER = r"-?[0-9][0-9.e+-]*"
PAIR = re.compile(rf"\[\n\s*({NUMBER}),\n\s*({NUMBER}),\n\s*\]")
"""A span as tomli_w writes it. A line break outside of strings only: those are escaped."""


def load_setup(path: Path, library: Library) -> Setup:
    """The set-up in a file.

    Raises:
        SettingsError: lists all that is wrong, species without a profile included.
    """
    document = read_toml(path)
    setup = parse(Setup, document, str(path))
    wrong = [
        Problem(str(path), key_of(("enclosure", number, *route), document), says)
        for number, enclosure in enumerate(setup.enclosure)
        for route, says in unknown_species(enclosure.inhabitant, library)
    ]
    if wrong:
        raise SettingsError(wrong)
    return setup


def dump_setup(setup: Setup) -> str:
    """The set-up as TOML that reads back as the same; what is at its default is left out."""
    document = setup.model_dump(exclude_defaults=True)
    plain = {key: _plain(value) for key, value in document.items()}
    return PAIR.sub(r"[\1, \2]", tomli_w.dumps(plain))


def unknown_species(
    inhabitants: Iterable[Inhabitant], library: Library
) -> Iterator[tuple[Route, str]]:
    """Inhabitants whose species has no profile, by where they stand."""
    for number, inhabitant in enumerate(inhabitants):
        if inhabitant.species not in library:
            says = f"no species profile {inhabitant.species!r}{hint(inhabitant.species, library)}"
            yield ("inhabitant", number, "species"), says


def _plain(value: object) -> object:
    """Whole numbers without their ".0", and keys as plain words."""
    match value:
        case dict():
            return {str(key): _plain(each) for key, each in value.items()}
        case list() | tuple():
            return [_plain(each) for each in value]
        case float() if value.is_integer():
            return int(value)
        case _:
            return value
