"""The set-up in force, place by place, and every change that was ever made to it.

Each change gets the next number of one count, the revision. A place carries the revision of its
last change, which is what a client says it has seen; the largest of all tells whether anything
changed.
"""

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple, TypeVar

from pydantic import ValidationError

from monitor.errors import Conflict, NotFound, StoreError
from monitor.setup.device import both
from monitor.setup.models import Enclosure, Model, Room, Setup
from monitor.store.sqlite.state.query import Query

Place = Room | Enclosure
P = TypeVar("P", bound=Model)

_KINDS: dict[str, type[Room] | type[Enclosure]] = {"room": Room, "enclosure": Enclosure}

ABSENT = 0
"""The revision to expect of a place that must not exist yet."""


class Placed(NamedTuple):
    """A place as it is set up, and since which revision."""

    place: Place
    revision: int


class Change(NamedTuple):
    """One change: the place's JSON text before and after, None where there was or is none."""

    revision: int
    at_ms: int
    who: str
    id: str
    before: str | None
    after: str | None


def revision(connection: sqlite3.Connection) -> int:
    """The number of the last change; 0 before the first."""
    (last,) = connection.execute("SELECT ifnull(max(revision), 0) FROM place_history").fetchone()
    return int(last)


def get(connection: sqlite3.Connection, place_id: str) -> Placed:
    """One place.

    Raises:
        NotFound: it is not set up.
        StoreError: what is stored does not fit this version.
    """
    row = connection.execute(
        "SELECT kind, body, revision FROM place WHERE id = ?", (place_id,)
    ).fetchone()
    if row is None:
        raise NotFound(f"no room or enclosure {place_id!r} is set up")
    kind, body, seen = row
    return Placed(_parse(_KINDS[kind], place_id, body), seen)


def everything(connection: sqlite3.Connection) -> Setup:
    """The whole set-up, by id.

    Raises:
        StoreError: what is stored does not fit this version.
    """
    rows = connection.execute("SELECT kind, id, body FROM place ORDER BY id").fetchall()
    return Setup(
        room=tuple(_parse(Room, *row) for kind, *row in rows if kind == "room"),
        enclosure=tuple(_parse(Enclosure, *row) for kind, *row in rows if kind == "enclosure"),
    )


class Remembered:
    """The whole set-up, read anew when it has changed: to look it up costs as much as to use it."""

    def __init__(self) -> None:
        self._kept: tuple[int, Setup] | None = None

    def __call__(self, connection: sqlite3.Connection) -> Setup:
        """See ``everything``."""
        now, kept = revision(connection), self._kept
        if kept is None or kept[0] != now:
            self._kept = kept = (now, everything(connection))
        return kept[1]


def put(
    connection: sqlite3.Connection,
    place: Place,
    *,
    who: str,
    now_ms: int,
    expected: int | None = None,
) -> int:
    """Set a place up, or change it; its revision, the old one if nothing is different.

    ``expected`` is the revision the caller has seen (``ABSENT``: none), None if that is no matter.

    Raises:
        Conflict: someone changed it since ``expected``, its id belongs to a place of the other
            kind, the room it stands in is not set up, or another place's probe has a device of its.
    """
    new = _put(connection, place, who, now_ms, expected)
    _check_devices(connection)
    return new


def apply(
    connection: sqlite3.Connection, wanted: Iterable[Place], *, who: str, now_ms: int
) -> None:
    """Set up or change some places together, rooms first; others stay as they are.

    Devices may change hands between them: what counts is who has them in the end.

    Raises:
        Conflict: as from ``put``.
    """
    for place in wanted:
        _put(connection, place, who, now_ms, None)
    _check_devices(connection)


def _put(
    connection: sqlite3.Connection, place: Place, who: str, now_ms: int, expected: int | None
) -> int:
    kind = "room" if isinstance(place, Room) else "enclosure"
    room = None if isinstance(place, Room) else place.room
    old = _stored(connection, place.id)
    _check_expected(place.id, old, expected)
    if old is not None and old.kind != kind:
        raise Conflict(f"{place.id!r} is set up as {old.kind}; give the {kind} another id")
    if room is not None:
        stands_in = _stored(connection, room)
        if stands_in is None or stands_in.kind != "room":
            raise Conflict(
                f"enclosure {place.id!r} stands in room {room!r}, which is not set up; "
                "set the room up first"
            )
    body = place.model_dump_json()
    if old is not None and old.body == body:
        return old.revision
    new = _record(connection, now_ms, who, place.id, old.body if old else None, body)
    connection.execute(
        """
        INSERT INTO place (id, kind, room, revision, body) VALUES (?, ?, ?, ?, ?)
        ON CONFLICT (id) DO UPDATE SET room = excluded.room, revision = excluded.revision,
            body = excluded.body
        """,
        (place.id, kind, room, new, body),
    )
    return new


def delete(
    connection: sqlite3.Connection,
    place_id: str,
    *,
    who: str,
    now_ms: int,
    expected: int | None = None,
) -> int:
    """Take a place out of the set-up (its readings and journal stay); the change's revision.

    Raises:
        NotFound: it is not set up.
        Conflict: someone changed it since ``expected``, or enclosures stand in this room.
    """
    old = _stored(connection, place_id)
    if old is None:
        raise NotFound(f"no room or enclosure {place_id!r} is set up")
    _check_expected(place_id, old, expected)
    inside = connection.execute(
        "SELECT id FROM place WHERE room = ? ORDER BY id", (place_id,)
    ).fetchall()
    if inside:
        names = ", ".join(name for (name,) in inside)
        raise Conflict(f"room {place_id!r} holds {names}; move them first")
    connection.execute("DELETE FROM place WHERE id = ?", (place_id,))
    return _record(connection, now_ms, who, place_id, old.body, None)


def history(
    connection: sqlite3.Connection,
    place_id: str | None = None,
    *,
    before: int | None = None,
    limit: int = 100,
) -> list[Change]:
    """Changes of one place or of all, newest first; ``before``: the last revision already seen."""
    query = Query("SELECT revision, at_ms, who, id, before, after FROM place_history")
    if place_id is not None:
        query.where("id = ?", place_id)
    if before is not None:
        query.where("revision < ?", before)
    return [Change(*row) for row in query.run(connection, "ORDER BY revision DESC LIMIT ?", limit)]


def change(connection: sqlite3.Connection, number: int) -> Change:
    """The change of that revision.

    Raises:
        NotFound: there was none.
    """
    found = history(connection, before=number + 1, limit=1)
    if not found or found[0].revision != number:
        raise NotFound(f"there is no change {number} of the set-up")
    return found[0]


def _parse(model: type[P], place_id: str, body: str) -> P:
    try:
        return model.model_validate_json(body)
    except ValidationError as exc:
        raise StoreError(
            f"{place_id!r} as it is stored does not fit this version; set it up anew: {exc}"
        ) from exc


def _check_devices(connection: sqlite3.Connection) -> None:
    shared = connection.execute(
        """
        SELECT json_extract(probe.value, '$.device') AS device,
            min(place.id || '/' || json_extract(probe.value, '$.id')),
            max(place.id || '/' || json_extract(probe.value, '$.id'))
        FROM place, json_each(place.body, '$.probe') AS probe
        WHERE device IS NOT NULL GROUP BY device HAVING count(*) > 1
        """
    ).fetchone()
    if shared is not None:
        raise Conflict(both(*shared))


class _Stored(NamedTuple):
    kind: str
    revision: int
    body: str


def _stored(connection: sqlite3.Connection, place_id: str) -> _Stored | None:
    row = connection.execute(
        "SELECT kind, revision, body FROM place WHERE id = ?", (place_id,)
    ).fetchone()
    return _Stored(*row) if row else None


def _check_expected(place_id: str, old: _Stored | None, expected: int | None) -> None:
    current = old.revision if old else ABSENT
    if expected is None or expected == current:
        return
    if expected == ABSENT:
        raise Conflict(f"{place_id!r} is set up already (revision {current})")
    raise Conflict(
        f"{place_id!r} was changed or removed since revision {expected}; look again and repeat"
    )


def _record(
    connection: sqlite3.Connection,
    now_ms: int,
    who: str,
    place_id: str,
    before: str | None,
    after: str | None,
) -> int:
    (number,) = connection.execute(
        """
        INSERT INTO place_history (at_ms, who, id, before, after) VALUES (?, ?, ?, ?, ?)
        RETURNING revision
        """,
        (now_ms, who, place_id, before, after),
    ).fetchone()
    return int(number)
