"""What a change made of a room or enclosure, key by key, for people and for the API."""

import json
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple, Protocol

from monitor.documents.problems import LABELS
from monitor.times import rfc3339

Document = Mapping[str, Any]
"""A room or enclosure as JSON has it."""


class Change(Protocol):
    """One change of a place, as the store keeps it."""

    @property
    def revision(self) -> int:
        """Its number."""
        ...

    @property
    def at_ms(self) -> int:
        """When it was made."""
        ...

    @property
    def who(self) -> str:
        """Who made it."""
        ...

    @property
    def id(self) -> str:
        """The room or enclosure."""
        ...

    @property
    def before(self) -> str | None:
        """Its JSON text before, None where there was none."""
        ...

    @property
    def after(self) -> str | None:
        """Its JSON text afterwards, None where there is none."""
        ...


class Difference(NamedTuple):
    """One key that is not what it was; None where there was or is nothing."""

    key: str
    before: Any
    after: Any

    @property
    def says(self) -> str:
        """The difference in a few words."""
        if self.before is None:
            return f"{self.key}: added {_shown(self.after)}"
        if self.after is None:
            return f"{self.key}: removed {_shown(self.before)}"
        return f"{self.key}: {_shown(self.before)} became {_shown(self.after)}"


def differences(before: Document | None, after: Document | None) -> list[Difference]:
    """All keys that differ, in the order of the models.

    Tables of a list are compared by their name, wherever they stand; their keys read
    ``probe[canopy].zone``, as in messages about mistakes.
    """
    if before is None or after is None:
        place = before or after or {}
        return [Difference(str(place.get("id", "")), before, after)]
    return list(_within("", before, after))


def summary(change: Change) -> dict[str, Any]:
    """A change in a line, as the API lists it."""
    did = "added" if change.before is None else "removed" if change.after is None else "changed"
    touched = "; ".join(each.says for each in differences(*_documents(change)))
    return {
        "number": change.revision,
        "at": rfc3339(change.at_ms),
        "who": change.who,
        "place": change.id,
        "did": did,
        "says": touched if did == "changed" else f"{did} {change.id}",
    }


def details(change: Change) -> dict[str, Any]:
    """A change with every key that it touched, and the place before and after."""
    before, after = _documents(change)
    return summary(change) | {
        "differences": [
            {**each._asdict(), "says": each.says} for each in differences(before, after)
        ],
        "before": before,
        "after": after,
    }


def _documents(change: Change) -> tuple[Document | None, Document | None]:
    before, after = (
        None if text is None else json.loads(text) for text in (change.before, change.after)
    )
    return before, after


def _within(above: str, before: Document, after: Document) -> Iterator[Difference]:
    for key in [*before, *(key for key in after if key not in before)]:
        at = f"{above}.{key}" if above else key
        yield from _between(at, before.get(key), after.get(key))


def _between(at: str, before: object, after: object) -> Iterator[Difference]:
    if before == after or (_is_nothing(before) and _is_nothing(after)):
        return
    named_before, named_after = _named(before), _named(after)
    if named_before is not None and named_after is not None:
        for name in [*named_before, *(name for name in named_after if name not in named_before)]:
            yield from _between(f"{at}[{name}]", named_before.get(name), named_after.get(name))
    elif isinstance(before, Mapping) and isinstance(after, Mapping):
        yield from _within(at, before, after)
    else:
        yield Difference(at, before, after)


def _is_nothing(value: object) -> bool:
    return value is None or value == [] or value == {}


def _named(value: object) -> dict[str, Any] | None:
    """The tables of a list by their names; None if it is no such list."""
    if value is None:
        return {}
    if not isinstance(value, list) or not all(isinstance(each, Mapping) for each in value):
        return None
    named: dict[str, Any] = {}
    for number, each in enumerate(value, 1):
        name = next((str(each[label]) for label in LABELS if each.get(label)), str(number))
        named[name if name not in named else f"{name} {number}"] = each
    return named


def _shown(value: object) -> str:
    match value:
        case Mapping():
            inside = ", ".join(
                f"{key} {_shown(each)}" for key, each in value.items() if not _is_nothing(each)
            )
            return f"({inside})"
        case [float() | int() as low, float() | int() as high]:
            return f"{low:g} to {high:g}"
        case list():
            return ", ".join(_shown(each) for each in value)
        case bool():
            return "yes" if value else "no"
        case float():
            return f"{value:g}"
        case _:
            return str(value)
