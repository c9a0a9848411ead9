"""Journal entries as they are shown: when, what, and a mark for each kind."""

import datetime as dt
from dataclasses import dataclass

from monitor.setup.journal import Inspection, Misted
from monitor.setup.models import Enclosure
from monitor.store.sqlite.state.journal import JournalRow
from monitor.web import words
from monitor.web.charts.scale import Scale


@dataclass(frozen=True, slots=True)
class Noted:
    """One entry; ``at`` is its place on an axis of time, in percent."""

    kind: str
    at: float
    when: str
    says: str
    note: str
    source: str


def noted(row: JournalRow, place: Enclosure, x: Scale) -> Noted:
    """An entry in words, by the enclosure's clock."""
    when = dt.datetime.fromtimestamp(row.entry.at_ms / 1000, place.zone_info)
    return Noted(
        kind=row.entry.kind,
        at=x(row.entry.at_ms),
        when=words.moment(when, None),
        says=_says(row),
        note=row.entry.note,
        source=row.source,
    )


def _says(row: JournalRow) -> str:
    entry = row.entry
    if isinstance(entry, Misted):
        if entry.seconds is None:
            return words.KINDS["misted"]
        return words.FOR_SECONDS.format(words.KINDS["misted"], entry.seconds)
    if isinstance(entry, Inspection):
        return words.sentence(_seen(entry))
    return words.KINDS[entry.kind]


def _seen(entry: Inspection) -> list[str]:
    """What a look inside found, part by part."""
    found = []
    if entry.mould_cover is not None:
        found.append(words.MOULD[entry.mould_cover])
    for seen, names in (
        (entry.springtails_seen, words.SPRINGTAILS),
        (entry.isopods_seen, words.ISOPODS),
    ):
        if seen is not None:
            found.append(names[seen])
    if entry.plants is not None:
        found.append(words.PLANTS[entry.plants])
    return found or [words.KINDS["inspection"]]
