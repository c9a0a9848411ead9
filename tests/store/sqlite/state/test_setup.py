"""The kept set-up with its revisions and its history."""

import datetime as dt

import pytest

from monitor.errors import Conflict, NotFound, StoreError
from monitor.quantities import Quantity
from monitor.setup.models import (
    Correction,
    Enclosure,
    Inhabitant,
    Probe,
    Room,
    RoomProbe,
    Setup,
    Span,
    Spans,
    Zone,
    ZoneRange,
)
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup
from monitor.store.sqlite.state.setup import ABSENT, Place, Placed

ROOM = Room(id="back-room", name="Back room", probe=(RoomProbe(id="air"),))
CUBE = Enclosure(
    id="cork-cube",
    name="Cork cube",
    room="back-room",
    timezone="Europe/Lisbon",
    lights_on=dt.time(7, 30),
    volume_l=90,
    built_on=dt.date(2026, 10, 1),
    probe=(
        Probe(
            id="canopy",
            zone=Zone.CANOPY,
            period_s=30,
            calibration={Quantity.HUMIDITY: Correction(offset=-1.5, gain=1.02)},
        ),
    ),
    inhabitant=(Inhabitant(species="correlophus-ciliatus", count=1),),
    range={Zone.CANOPY: ZoneRange(day=Spans(humidity=Span(low=60, high=80)))},
)
BOX = Enclosure(id="moss-box", name="Moss box")


def put(database: Database, place: Place, expected: int | None = None, who: str = "desk") -> int:
    """Change the set-up in a transaction of its own."""
    with database.transaction() as connection:
        return setup.put(connection, place, who=who, now_ms=1000, expected=expected)


def delete(database: Database, place_id: str, expected: int | None = None) -> int:
    """Take a place out in a transaction of its own."""
    with database.transaction() as connection:
        return setup.delete(connection, place_id, who="desk", now_ms=2000, expected=expected)


def test_places_come_back_as_they_were_put(database: Database) -> None:
    """Every field survives; the whole is a valid set-up."""
    put(database, ROOM)
    put(database, CUBE)
    put(database, BOX)
    with database.reading() as connection:
        assert setup.get(connection, "cork-cube") == Placed(CUBE, 2)
        assert setup.get(connection, "back-room") == Placed(ROOM, 1)
        assert setup.everything(connection) == Setup(room=(ROOM,), enclosure=(CUBE, BOX))


def test_an_unknown_place_is_not_found(database: Database) -> None:
    """Looking and deleting both say which id is unknown."""
    with database.reading() as connection, pytest.raises(NotFound, match="'attic'"):
        setup.get(connection, "attic")
    with pytest.raises(NotFound, match="'attic'"):
        delete(database, "attic")


def test_the_revision_counts_changes_and_nothing_else(database: Database) -> None:
    """A daemon that polls it reloads after each change, and never without one."""
    revisions = []

    def note() -> None:
        with database.reading() as connection:
            revisions.append(setup.revision(connection))

    note()
    put(database, BOX)
    note()
    put(database, BOX)
    note()
    put(database, BOX.model_copy(update={"name": "Moss"}))
    note()
    delete(database, "moss-box")
    note()
    put(database, BOX)
    note()

    assert revisions == [0, 1, 1, 2, 3, 4]


def test_a_stale_change_is_refused(database: Database) -> None:
    """Who has not seen the latest revision cannot overwrite or delete it."""
    seen = put(database, BOX, expected=ABSENT)
    put(database, BOX.model_copy(update={"name": "Moss"}), expected=seen)

    with pytest.raises(Conflict, match="changed or removed since revision 1"):
        put(database, BOX, expected=seen)
    with pytest.raises(Conflict, match="changed or removed since revision 1"):
        delete(database, "moss-box", expected=seen)
    with pytest.raises(Conflict, match="set up already"):
        put(database, BOX, expected=ABSENT)
    delete(database, "moss-box", expected=2)
    with pytest.raises(Conflict, match="changed or removed since revision 2"):
        put(database, BOX, expected=2)


def test_the_set_up_always_fits_together(database: Database) -> None:
    """No change may leave an enclosure in a room that is none, nor give an id a second meaning."""
    with pytest.raises(Conflict, match="stands in room 'back-room', which is not set up"):
        put(database, CUBE)
    put(database, BOX)
    with pytest.raises(Conflict, match="stands in room 'moss-box', which is not set up"):
        put(database, CUBE.model_copy(update={"room": "moss-box"}))
    with pytest.raises(Conflict, match="'moss-box' is set up as enclosure; give the room another"):
        put(database, Room(id="moss-box", name="Moss room"))
    put(database, ROOM)
    put(database, CUBE)
    with pytest.raises(Conflict, match="room 'back-room' holds cork-cube; move them first"):
        delete(database, "back-room")
    put(database, CUBE.model_copy(update={"room": None}))
    delete(database, "back-room")
    with database.reading() as connection:
        assert [place.id for place in setup.everything(connection).enclosure] == [
            "cork-cube",
            "moss-box",
        ]


def test_one_device_is_one_probe(database: Database) -> None:
    """Whoever has it keeps it until it is taken out; the other place stays as it was."""

    def having(place: Place, device: str | None) -> Place:
        probe = place.probe[0].model_copy(update={"device": device})
        return place.model_copy(update={"probe": (probe,)})

    put(database, having(ROOM, "<0x01> 苔"))
    put(database, CUBE)
    with pytest.raises(Conflict, match="'<0x01> 苔' is both back-room/air and cork-cube/canopy"):
        put(database, having(CUBE, "<0x01> 苔"))
    with database.reading() as connection:
        assert setup.get(connection, "cork-cube").place == CUBE
    put(database, ROOM)
    put(database, having(CUBE, "<0x01> 苔"))


def test_devices_change_hands_within_a_set_up(database: Database) -> None:
    """It counts who has them when all of it is applied; what contradicts, is refused whole."""

    def house(*devices: str) -> Setup:
        probes = [Probe(id="floor", zone=Zone.FLOOR, device=each) for each in devices]
        places = [
            Enclosure(id=f"jar-{n}", name="Jar", probe=(probe,)) for n, probe in enumerate(probes)
        ]
        return Setup(enclosure=tuple(places))

    def apply(wanted: Setup) -> None:
        with database.transaction() as connection:
            setup.apply(connection, wanted.places, who="file", now_ms=1000)

    for devices in (("a", "b", "c"), ("b", "c", "a")):
        apply(house(*devices))
        with database.reading() as connection:
            assert setup.everything(connection) == house(*devices)
    with pytest.raises(Conflict, match="device 'c' is both jar-0/floor and jar-1/floor"):
        apply(house("c"))
    with database.reading() as connection:
        assert setup.everything(connection) == house("b", "c", "a")


def test_what_no_longer_fits_is_named_and_can_be_put_anew(database: Database) -> None:
    """A place stored by a version with other rules does not lock the keeper out."""
    put(database, BOX)
    with database.transaction() as connection:
        connection.execute('UPDATE place SET body = \'{"id": "moss-box", "colour": 1}\'')

    for look in (setup.everything, lambda connection: setup.get(connection, "moss-box")):
        with (
            database.reading() as connection,
            pytest.raises(StoreError, match="'moss-box' as it is stored does not fit"),
        ):
            look(connection)
    put(database, BOX)
    with database.reading() as connection:
        assert setup.get(connection, "moss-box") == Placed(BOX, 2)


def test_the_history_tells_who_changed_what(database: Database) -> None:
    """Each change keeps its author, its time, and the place before and after."""
    moss = BOX.model_copy(update={"name": "Moss"})
    put(database, BOX, who="enclosures.toml")
    put(database, ROOM)
    put(database, moss)
    delete(database, "moss-box")

    with database.reading() as connection:
        changes = setup.history(connection, "moss-box")
        newest = setup.history(connection, limit=2)
        older = setup.history(connection, before=newest[-1].revision)

    assert [(change.revision, change.at_ms, change.who) for change in changes] == [
        (4, 2000, "desk"),
        (3, 1000, "desk"),
        (1, 1000, "enclosures.toml"),
    ]
    assert [
        tuple(text and Enclosure.model_validate_json(text) for text in (c.before, c.after))
        for c in changes
    ] == [(moss, None), (BOX, moss), (None, BOX)]
    assert [change.revision for change in newest + older] == [4, 3, 2, 1]
