"""Which photos belong to which entries."""

import pytest

from monitor.errors import NotFound
from monitor.setup.journal import Fed, Source
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import journal, photos
from monitor.store.sqlite.state.photos import PhotoRow

T = 1_792_351_800_000


def entry(database: Database, place: str = "cork-cube") -> int:
    """A fresh entry."""
    with database.transaction() as connection:
        return journal.add(connection, place, Fed(at=T, kind="fed"), Source.KEEPER, T)


def photo(number: int, name: str) -> PhotoRow:
    """A photo of an entry."""
    return PhotoRow(name, number, 640, 480, 12_345, T)


def test_photos_come_back_by_entry_in_order(database: Database) -> None:
    """The same twice is there once; the same picture may be in two entries."""
    first, second, bare = entry(database), entry(database), entry(database)
    with database.transaction() as connection:
        for row in (photo(first, "b"), photo(first, "a"), photo(first, "b"), photo(second, "a")):
            photos.add(connection, row)

    with database.reading() as connection:
        found = photos.of(connection, [first, second, bare])
        names = photos.names(connection)

    assert found == {first: [photo(first, "b"), photo(first, "a")], second: [photo(second, "a")]}
    assert names == {"a", "b"}


def test_photos_go_with_their_entry(database: Database) -> None:
    """Taken out one by one, or all with the entry."""
    number = entry(database)
    with database.transaction() as connection:
        photos.add(connection, photo(number, "a"))
        photos.add(connection, photo(number, "b"))
        photos.remove(connection, number, "a")
        with pytest.raises(NotFound, match=f"entry {number} has no photo 'a'"):
            photos.remove(connection, number, "a")
        left = photos.names(connection)
        journal.remove(connection, "cork-cube", number)
        assert photos.names(connection) == set()

    assert left == {"b"}


def test_an_entry_belongs_to_its_place(database: Database) -> None:
    """It is neither found nor removed under another."""
    number = entry(database)

    with database.transaction() as connection:
        assert journal.get(connection, "cork-cube", number).entry.kind == "fed"
        for act in (journal.get, journal.remove):
            with pytest.raises(NotFound, match=f"no entry {number} in the journal of 'fern-jar'"):
                act(connection, "fern-jar", number)
