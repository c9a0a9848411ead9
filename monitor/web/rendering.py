"""Templates and static files, found beside this module and read once."""

import re
import zlib
from pathlib import Path
from typing import NamedTuple

from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context

from monitor.times import rfc3339
from monitor.web import words
from monitor.web.units import Units

HERE = Path(__file__).parent
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:°[CF]|K|%|h|min|s|kPa|hPa|g/m³)(?!\w))")
TYPES = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}


class Asset(NamedTuple):
    """A static file; ``version`` changes with its content."""

    content: bytes
    media_type: str
    version: str


def _asset(path: Path) -> Asset:
    content = path.read_bytes()
    return Asset(content, TYPES[path.suffix], f"{zlib.crc32(content):08x}")


ASSETS = {path.name: _asset(path) for path in sorted((HERE / "static").iterdir())}


def address(name: str) -> str:
    """Where a static file is served, for as long as it stays the same."""
    return f"/static/{name}?v={ASSETS[name].version}"


def tight(text: str) -> str:
    """Text in which no line breaks between a number and its unit."""
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text)


@pass_context
def said(context: Context, sentence: str) -> str:
    """A sentence of ours in the units of whoever looks, its numbers kept with their units."""
    units: Units = context["viewer"].units
    return tight(units.told(words.plain(sentence)))


_environment = Environment(
    loader=FileSystemLoader(HERE / "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_environment.globals["address"] = address
_environment.globals["words"] = words
_environment.globals["rfc3339"] = rfc3339
_environment.filters["capitalize_first"] = words.capital
_environment.filters["tight"] = tight
_environment.filters["said"] = said


def render(template: str, **shown: object) -> str:
    """A page, every name in it escaped; the filter ``said`` needs a ``viewer`` in ``shown``."""
    return _environment.get_template(template).render(shown)
