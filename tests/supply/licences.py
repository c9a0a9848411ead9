"""Lists what dewkeep needs at run time and under which licence each is: docs/licences.md.

    python -m tests.supply.licences

Read from the metadata of what is installed here, extras included.
"""

import re
from collections.abc import Iterator
from importlib.metadata import Distribution, PackageNotFoundError, distribution, requires
from pathlib import Path

from packaging.requirements import Requirement

from tests.support.record import record

PAGE = Path(__file__).parents[2] / "docs" / "licences.md"
EXTRAS = ("embedded", "push")
LONGEST = 60
"""A licence field longer than this holds the licence itself, not its name."""


def needed(name: str = "dewkeep", extras: tuple[str, ...] = EXTRAS) -> dict[str, Distribution]:
    """All distributions that one needs, by name, those they need too."""
    found: dict[str, Distribution] = {}

    def walk(lines: list[str], wanted: tuple[str, ...]) -> None:
        for requirement in map(Requirement, lines):
            applies = requirement.marker is None or any(
                requirement.marker.evaluate({"extra": extra}) for extra in ("", *wanted)
            )
            key = canonical(requirement.name)
            if not applies or key in found:
                continue
            try:
                found[key] = distribution(requirement.name)
            except PackageNotFoundError:
                continue  # for another system
            walk(found[key].requires or [], tuple(requirement.extras))

    walk(requires(name) or [], extras)
    return dict(sorted(found.items()))


def canonical(name: str) -> str:
    """A name as registries compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def licence(package: Distribution) -> str:
    """What its metadata says: the expression, else the field, else the classifiers."""
    said = package.metadata
    for key in ("License-Expression", "License"):
        told = str(said[key]).strip() if key in said else ""
        if told and "\n" not in told and len(told) <= LONGEST:
            return told
    classifiers = [
        each.rpartition(" :: ")[2]
        for each in said.get_all("Classifier") or []
        if each.startswith("License ::")
    ]
    return ", ".join(classifiers) or "not said"


def rows() -> Iterator[str]:
    """The table, line by line."""
    yield "| package | licence |"
    yield "|---|---|"
    for name, package in needed().items():
        yield f"| {name} | {licence(package)} |"


if __name__ == "__main__":
    record(PAGE, "licences", "\n".join(rows()) + "\n")
