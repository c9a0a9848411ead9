"""Who was heard and is not known: topics that lead to no probe, and where each can be set up."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple
from urllib.parse import urlencode

from pydantic import TypeAdapter, ValidationError

from monitor.documents.base import Identifier
from monitor.ingest.intake import UNKNOWN
from monitor.ingest.rejects import Reject
from monitor.ingest.roster import Roster
from monitor.ingest.roster import Stranger as Lost
from monitor.setup import device
from monitor.setup.models import Room, Setup
from monitor.setup.sources import Source
from monitor.web import words

LONGEST_SHOWN = 120
"""A topic may be 65,535 bytes long; nobody reads that on a phone."""

_IDENTIFIER: TypeAdapter[str] = TypeAdapter(Identifier)


class Stranger(NamedTuple):
    """A topic that nobody is set up for, and the form that would change it, if one can."""

    topic: str
    says: str
    link: str = ""
    offer: str = ""


def strangers(
    rejects: Iterable[Reject], placed: Setup, sources: Sequence[Source]
) -> list[Stranger]:
    """Topics of late that nobody is set up for by now, in the order given, each once."""
    topics = dict.fromkeys(each.topic for each in rejects if each.reason == UNKNOWN)
    if not topics:
        return []
    roster = Roster(placed, sources, {})
    return [
        _stranger(topic, lost, roster)
        for topic in topics
        if (lost := roster.stranger(topic)) is not None
    ]


def _stranger(topic: str, lost: Lost, roster: Roster) -> Stranger:
    shown, says = _short(topic), _short(lost.says)
    if lost.place:
        if not (_is_id(lost.place) and _is_id(lost.probe)):
            return Stranger(shown, f"{says}; {words.NO_ID}")
        known = roster.places.get(lost.place)
        if known is None:
            asked = urlencode({"place": lost.place, "probe": lost.probe})
            link = f"/setup/enclosures/-new?{asked}"
            return Stranger(shown, says, link, words.SET_UP_WITH_IT.format(lost.place))
        kind = "rooms" if isinstance(known, Room) else "enclosures"
        link = f"/setup/{kind}/{lost.place}?{urlencode({'probe': lost.probe})}"
        return Stranger(shown, says, link, words.A_PROBE_OF.format(lost.place))
    if lost.device:
        if not device.can_be_set_up(lost.device):
            return Stranger(shown, f"{says}; {words.NO_DEVICE}")
        link = f"/setup/device?{urlencode({'name': lost.device})}"
        return Stranger(shown, says, link, words.A_PROBE_OF.format("…"))
    return Stranger(shown, says)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def _is_id(text: str) -> bool:
    try:
        return _IDENTIFIER.validate_python(text) == text
    except ValidationError:
        return False
