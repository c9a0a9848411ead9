"""A set-up file put in force, without undoing a calibration behind the keeper's back.

What was put in force from a certificate is newer than a file that says what it said before the
calibration: it stays. A file that says something new was written since: it wins, and that is told.
"""

import json
import sqlite3
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from monitor.errors import NotFound
from monitor.setup.calibration import as_written, corrected, correction_of
from monitor.setup.channels import Channel
from monitor.setup.models import Correction, Probe
from monitor.store.rows import Notice
from monitor.store.sqlite.state import calibrations, setup
from monitor.store.sqlite.state.setup import Place
from monitor.times import rfc3339

UNDONE = "calibration_undone"
"""The event of a notice: a file took the place of a certificate."""


class Certified(NamedTuple):
    """The correction in force of a probe, which a certificate gave it."""

    place: Place
    probe: str
    number: int
    """Of the calibration."""
    correction: Correction
    before: tuple[Correction, ...]
    """What was in force before it, and before the certificates it followed upon, newest first."""


class Filed(NamedTuple):
    """What a set-up file has changed, and what became of corrections that it has not."""

    changes: int
    kept: tuple[Certified, ...]
    """The file says what it said before: it was not heeded."""
    undone: tuple[Certified, ...]
    """The file says something new: it is in force instead."""


NOTHING = Filed(0, (), ())
"""Where there is no file."""


def put_in_force(
    connection: sqlite3.Connection, places: Iterable[Place], who: str, now_ms: int
) -> Filed:
    """Set up or change what a file lists, in the caller's transaction.

    Raises:
        Conflict: see ``state.setup.apply``.
    """
    first = setup.revision(connection)
    kept, undone, wanted = [], [], []
    for listed in places:
        place = listed
        for probe in listed.probe:
            found = _certified(connection, listed, probe)
            if found is None or found.correction == correction_of(probe):
                continue
            if correction_of(probe) in found.before:
                place = corrected(place, probe.id, found.correction)
                kept.append(found)
            else:
                undone.append(found)
        wanted.append(place)
    setup.apply(connection, wanted, who=who, now_ms=now_ms)
    return Filed(setup.revision(connection) - first, tuple(kept), tuple(undone))


def kept_says(found: Certified) -> str:
    """That a file was not heeded, for a log or a terminal."""
    return (
        f"{found.place.id}/{found.probe}: calibration {found.number} stays in force; the file "
        f"still says what it said before it. Write it there too: {as_written(found.correction)}"
    )


def undone_says(found: Certified) -> str:
    """That a file took the place of a certificate."""
    return (
        f"{found.place.id}/{found.probe}: the set-up file has a correction of its own, which is in "
        f"force now. Calibration {found.number} is not any more; it was: "
        f"{as_written(found.correction)}"
    )


def notices(undone: Iterable[Certified], channels: Sequence[Channel], now_ms: int) -> list[Notice]:
    """What is told of corrections that a file has undone, as a warning would be."""
    told = [each.name for each in channels if each.takes("warning") and not each.only_escalation]
    return [
        Notice(name, f"{UNDONE}/{found.place.id}/{found.probe}/{now_ms}", UNDONE, body)
        for found in undone
        for body in [_body(found, now_ms)]
        for name in told
    ]


def _body(found: Certified, now_ms: int) -> str:
    told = {
        "event": UNDONE,
        "enclosure": found.place.id,
        "enclosure_name": found.place.name,
        "probe": found.probe,
        "at": rfc3339(now_ms),
        "calibration": found.number,
        "says": undone_says(found),
    }
    return json.dumps(told, ensure_ascii=False)


def _certified(connection: sqlite3.Connection, listed: Place, probe: Probe) -> Certified | None:
    """The certificate that is in force, whoever wrote its correction into the set-up."""
    stored = _stored(connection, listed.id, probe.id)
    number, before = 0, list[Correction]()
    expected = stored
    for row in calibrations.page(connection, listed.id, probe.id):
        made = row.certificate
        if made is not None and not made.unusable and made.correction == expected:
            number = number or row.id
            expected = made.before
            before.append(expected)
    if stored is None or not before:
        return None
    return Certified(listed, probe.id, number, stored, tuple(before))


def _stored(connection: sqlite3.Connection, place: str, probe: str) -> Correction | None:
    try:
        known = setup.get(connection, place).place.probe
    except NotFound:
        return None
    return next((correction_of(each) for each in known if each.id == probe), None)
