"""A notice in plain words, for a phone or a mail program."""

import json
from collections.abc import Mapping
from typing import Any, NamedTuple

from monitor.store.rows import Notice

_PREFIX = {"returned": "Over", "recalled": "Still so", "escalated": "Not acknowledged"}


class Text(NamedTuple):
    """What a keeper reads; none of the parts holds a line break."""

    title: str
    """Where, and how urgent: two to six words."""
    says: str
    """What is the matter, in a sentence or two."""
    more: tuple[str, ...]
    """Why it is told now, the link to acknowledge by, and the lines of a report."""


def text_of(notice: Notice) -> Text:
    """The words of a notice, as far as its document has them."""
    document = json.loads(notice.body)
    return Text(_title(document), _says(document), tuple(_more(document)))


def _title(document: Mapping[str, Any]) -> str:
    if document.get("event") == "morning":
        return "Morning report"
    words = [str(document.get("enclosure_name", "dewkeep"))]
    if prefix := _PREFIX.get(document.get("event", "")):
        words.insert(0, prefix)
    elif document.get("priority") == "critical":
        words.insert(0, "Critical")
    return _line(" - ".join(words))


def _says(document: Mapping[str, Any]) -> str:
    cause = document.get("cause")
    reason = cause.get("says") if isinstance(cause, Mapping) else None
    return _line(" ".join(str(part) for part in (document.get("says"), reason) if part))


def _more(document: Mapping[str, Any]) -> list[str]:
    lines = []
    if "escalated_from" in document:
        minutes, channel = document["unacknowledged_min"], document["escalated_from"]
        lines.append(f"Nobody acknowledged it within {minutes} min of telling {channel}.")
    if "acknowledge_url" in document:
        lines.append(f"Acknowledge: {document['acknowledge_url']}")
    # A report's first line repeats what it says.
    lines += filter(None, str(document.get("text", "")).splitlines()[1:])
    return [_line(line) for line in lines]


def _line(text: str) -> str:
    return " ".join(text.split())
