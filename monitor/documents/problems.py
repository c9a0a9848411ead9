"""What is wrong with a document, by key and in plain words.

pydantic's findings are told with the help of the model's own JSON schema, which knows what keys
there are and what each may hold.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from difflib import get_close_matches
from typing import NamedTuple

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails, PydanticCustomError

from monitor.documents.schema import Schema, child, keys_of, options, resolve, words
from monitor.errors import Problem

Route = tuple[str | int, ...]
"""The way to a value in a document: keys of tables and positions in lists."""

LABELS = ("id", "name", "species")
"""Keys that tell the tables of one list apart, the best first."""
LONGEST_SHOWN = 60
FEW = 24


def faults(found: Sequence[tuple[Route, str]]) -> PydanticCustomError:
    """Several mistakes for one validator to raise, each with its route below that model."""
    return PydanticCustomError(
        "faults", "{says}", {"says": "; ".join(says for _, says in found), "found": list(found)}
    )


def problems(
    error: ValidationError, model: type[BaseModel], data: object, file: str
) -> list[Problem]:
    """Each of pydantic's findings as one problem.

    Args:
        error: what validating ``data`` raised.
        model: the model it was validated against.
        data: the document, as it came from the parser.
        file: the name the keeper knows the document by.
    """
    schema = model.model_json_schema()
    told = (
        Problem(file, key_of(route, data), says)
        for finding in error.errors(include_url=False)
        for route, says in _tell(finding, schema, data)
    )
    return list(dict.fromkeys(told))


def key_of(route: Route, data: object) -> str:
    """A route as a key the keeper can find, such as ``enclosure[cork-cube].probe[canopy].zone``.

    A table in a list goes by its id, name or species, else by its number, counted from 1.
    """
    text = ""
    here = data
    for part in route:
        here = below(here, part)
        if isinstance(part, str):
            text += f".{part}" if text else part
        else:
            text += f"[{_label(here) or part + 1}]"
    return text


def below(here: object, part: str | int) -> object:
    """What a document holds under a key or at a position; None if nothing."""
    match here, part:
        case Mapping(), _ if part in here:
            return here[part]
        case (list() | tuple(), int()) if part < len(here):
            return here[part]
    return None


def hint(word: str, known: Collection[str]) -> str:
    """The end of a sentence about an unknown word: the likeliest one meant, or all if few."""
    close = get_close_matches(word, known, n=1)
    if close:
        return f"; did you mean {close[0]!r}?"
    return f"; there is {', '.join(sorted(known))}" if 0 < len(known) <= FEW else ""


class _Place(NamedTuple):
    """Where a finding stands: the way there as written, and the schema of what may stand there."""

    route: Route
    node: Schema


def _tell(finding: ErrorDetails, schema: Schema, data: object) -> Iterator[tuple[Route, str]]:
    context = finding.get("ctx", {})
    place = _find(finding["loc"], schema, data)
    value = finding["input"]
    match finding["type"]:
        case "faults":
            for route, says in context["found"]:
                yield (*place.route, *route), says
        case "value_error":
            yield place.route, str(context["error"])
        case "missing":
            yield place.route, f"is missing; write {words(place.node, schema)}"
        case "extra_forbidden":
            known = keys_of(_find(finding["loc"][:-1], schema, data).node, schema)
            yield place.route, f"unknown key{hint(str(place.route[-1]), known)}"
        case "union_tag_not_found":
            key = context["discriminator"].strip("'")
            yield (*place.route, key), f"is missing; write {_one_of(place.node)}"
        case "union_tag_invalid":
            key = context["discriminator"].strip("'")
            yield (*place.route, key), f"must be {_one_of(place.node)}, not {context['tag']!r}"
        case _:
            yield place.route, _must_be(place.node, schema, value)


def _must_be(node: Schema, schema: Schema, value: object) -> str:
    says = f"must be {words(node, schema)}"
    kinds = list(options(node, schema))
    if any(kind.get("format") == "password" for kind in kinds):
        return says
    choices = [str(word) for kind in kinds for word in kind.get("enum", ())]
    close = get_close_matches(value, choices, n=1) if isinstance(value, str) else []
    return f"{says}, not {_shown(value)}" + "".join(f"; did you mean {word!r}?" for word in close)


def _one_of(node: Schema) -> str:
    return f"one of {', '.join(sorted(node['discriminator']['mapping']))}"


def _shown(value: object) -> str:
    """A value in a message: short, and never what stands inside a table or list."""
    match value:
        case Mapping():
            return "a table"
        case list() | tuple():
            return "a list"
        case bool():
            return str(value).lower()
        case None:
            return "null"
        case _:
            text = repr(value) if isinstance(value, str) else str(value)
            return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}..."


def _find(loc: Route, schema: Schema, data: object) -> _Place:
    """Follow pydantic's location, leaving out steps that stand for no key (a union's members)."""
    route: Route = ()
    node, above, here = schema, schema, data
    for part in loc:
        node = resolve(node, schema)
        if part == "[key]":
            return _Place(route, resolve(above, schema).get("propertyNames", {}))
        tags = node.get("discriminator", {}).get("mapping", {})
        step = child(node, part, schema)
        if step is None and not _holds(here, part):
            node = {"$ref": tags[part]} if part in tags else node
            continue
        above, node = node, step or {}
        here = below(here, part)
        route = (*route, part)
    return _Place(route, resolve(node, schema))


def _holds(here: object, part: str | int) -> bool:
    if isinstance(here, Mapping):
        return part in here
    return isinstance(here, list | tuple) and isinstance(part, int) and part < len(here)


def _label(here: object) -> str | None:
    if not isinstance(here, Mapping):
        return None
    return next((here[key] for key in LABELS if isinstance(here.get(key), str)), None)
