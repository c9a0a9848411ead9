"""Settings from the environment: ``DEWKEEP_SERVER__PORT=9000`` comes before what the file says."""

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from pydantic import BaseModel

from monitor.documents.problems import Route, hint
from monitor.documents.schema import Schema, child, keys_of, member, options, resolve
from monitor.errors import Problem

PREFIX = "DEWKEEP_"
CONFIG = "DEWKEEP_CONFIG"
"""Names the settings file itself."""


class Variable(NamedTuple):
    """A setting that the environment can give."""

    name: str
    path: Route
    secret: bool
    """Whether only the environment can give it: a secret is never written in the file."""


def variables(model: type[BaseModel], document: Mapping[str, Any]) -> list[Variable]:
    """All settings that the environment can give to a document.

    A table in a list goes by its name: ``DEWKEEP_CHANNEL__PHONE__URL``.
    """
    schema = model.model_json_schema()
    return list(_within(schema, schema, document, PREFIX, ()))


def overlay(
    document: dict[str, Any], known: list[Variable], environ: Mapping[str, str]
) -> tuple[dict[Route, str], list[Problem]]:
    """Write into a document what the environment says.

    Returns:
        By path the variables that were heeded, and what is wrong with the others.
    """
    by_name = {variable.name: variable for variable in known}
    heeded: dict[Route, str] = {}
    wrong: list[Problem] = []
    for name in sorted(environ):
        if name in by_name:
            _write(document, by_name[name].path, environ[name])
            heeded[by_name[name].path] = name
        elif name.startswith(PREFIX) and name != CONFIG:
            says = f"there is no such setting{hint(name, by_name)}"
            wrong.append(Problem("environment", name, says))
    return heeded, wrong


def _within(
    node: Schema, schema: Schema, here: object, prefix: str, path: Route
) -> Iterator[Variable]:
    for key in keys_of(node, schema):
        below = resolve(child(node, key, schema) or {}, schema)
        given = here.get(key) if isinstance(here, Mapping) else None
        name, at = f"{prefix}{key.upper()}", (*path, key)
        if keys_of(below, schema):
            yield from _within(below, schema, given, f"{name}__", at)
        elif below.get("type") == "array":
            for number, table in enumerate(given if isinstance(given, list) else ()):
                if isinstance(table, Mapping) and isinstance(called := table.get("name"), str):
                    inner = f"{name}__{called.upper().replace('-', '_')}__"
                    kind = member(below["items"], table)
                    yield from _within(kind, schema, table, inner, (*at, number))
        elif below.get("type") != "object":
            secret = any(kind.get("format") == "password" for kind in options(below, schema))
            yield Variable(name, at, secret)


def _write(document: dict[str, Any], path: Route, value: str) -> None:
    here: Any = document
    for part in path[:-1]:
        here = here.setdefault(part, {}) if isinstance(part, str) else here[part]
        if not isinstance(here, dict | list):
            return  # the file has no table there, which is told as a mistake of the file
    here[path[-1]] = value
