"""Questions to a JSON schema as pydantic writes it: which keys there are, what each may hold."""

from collections.abc import Iterator, Mapping
from typing import Any

Schema = Mapping[str, Any]

EXPECTS = "x-expects"
"""Key under which a type says in plain words what would be right."""
TYPES = {
    "string": "text",
    "boolean": "true or false",
    "array": "a list",
    "object": "a table of keys",
    "null": "nothing",
}


def resolve(node: Schema, root: Schema) -> Schema:
    """The node itself, or what it refers to with its own keys on top."""
    if "$ref" not in node:
        return node
    referred = root["$defs"][node["$ref"].rpartition("/")[2]]
    return {**referred, **{key: value for key, value in node.items() if key != "$ref"}}


def options(node: Schema, root: Schema) -> Iterator[Schema]:
    """The alternatives a node allows, or the node alone; "nothing" is left out."""
    node = resolve(node, root)
    alternatives = node.get("anyOf") or node.get("oneOf")
    if alternatives is None:
        yield node
        return
    for alternative in alternatives:
        if alternative.get("type") != "null":
            yield from options(alternative, root)


def child(node: Schema, part: str | int, root: Schema) -> Schema | None:
    """What may stand under a key or at a position; None where nothing may."""
    for option in options(node, root):
        if isinstance(part, int):
            found = option.get("items")
        else:
            found = option.get("properties", {}).get(part) or option.get("additionalProperties")
        if found:
            return dict(found)
    return None


def member(node: Schema, table: Mapping[str, Any]) -> Schema:
    """Of the kinds of table that a node allows, the one that a table says it is; else the node."""
    tag = node.get("discriminator")
    kind = None if tag is None else tag["mapping"].get(table.get(tag["propertyName"]))
    return node if kind is None else {"$ref": kind}


def keys_of(node: Schema, root: Schema) -> list[str]:
    """All keys that a table may have."""
    return [key for option in options(node, root) for key in option.get("properties", ())]


def words(node: Schema, root: Schema) -> str:
    """What may stand there, as the end of a sentence: "a whole number from 1 to 65535"."""
    node = resolve(node, root)
    if EXPECTS in node:
        return str(node[EXPECTS])
    alternatives = list(options(node, root))
    if len(alternatives) > 1 or alternatives[0] is not node:
        return " or ".join(words(alternative, root) for alternative in alternatives)
    if "const" in node:
        return repr(node["const"])
    if "enum" in node:
        return f"one of {', '.join(map(str, node['enum']))}"
    kind = node.get("type", "")
    if kind in ("integer", "number"):
        return ("a whole number" if kind == "integer" else "a number") + _bounds(node)
    return TYPES.get(kind, "something else")


def _bounds(node: Schema) -> str:
    match node:
        case {"minimum": low, "maximum": high}:
            return f" from {low:g} to {high:g}"
    sides = [
        f"{word} {node[key]:g}"
        for key, word in (
            ("minimum", "of at least"),
            ("exclusiveMinimum", "above"),
            ("maximum", "at most"),
            ("exclusiveMaximum", "below"),
        )
        if key in node
    ]
    return f" {' and '.join(sides)}" if sides else ""
