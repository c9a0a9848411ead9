"""What the pages of docs/ show: messages that are published by hand, and the sources for them."""

import re
import tomllib
from typing import NamedTuple

from monitor.setup.settings import Settings
from monitor.setup.sources import Source

_BLOCK = re.compile(r"^```toml\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_PUBLISHED = re.compile(r"^mosquitto_pub -t (\S+) -q 1 -m '(.*)'$", re.MULTILINE)


class Example(NamedTuple):
    """One section of a page: its heading, the sources it writes, the messages it publishes."""

    heading: str
    sources: tuple[Source, ...]
    messages: list[tuple[str, str]]


def sources_in(text: str) -> tuple[Source, ...]:
    """All ``[[source]]`` tables of a text."""
    blocks = [block for block in _BLOCK.findall(text) if block.startswith("[[source]]")]
    found = Settings.model_validate(tomllib.loads("\n".join(blocks)))
    return found.source if blocks else ()


def published_in(text: str) -> list[tuple[str, str]]:
    """Topic and payload of all messages that a text publishes."""
    return _PUBLISHED.findall(text)


def examples_in(text: str) -> list[Example]:
    """The sections of a page that show both."""
    sections = (
        Example(each.partition("\n")[0], sources_in(each), published_in(each))
        for each in text.split("\n### ")
    )
    return [each for each in sections if each.sources and each.messages]
