"""The file itself: opening, taking turns, and what happens when it goes wrong."""

import gc
import os
import sqlite3
import threading
from contextlib import ExitStack
from pathlib import Path

import pytest

from monitor.errors import StoreError, StoreUnavailable
from monitor.store.sqlite import database as database_module
from monitor.store.sqlite.database import MOST_IDLE, Database
from monitor.store.sqlite.migrations import Migration

NOTES = (Migration("notes", ("CREATE TABLE note (says TEXT)",)),)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where no file is yet."""
    return tmp_path / "dewkeep.db"


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody waits long for a lock."""
    monkeypatch.setattr(database_module, "BUSY_TIMEOUT_S", 0.05)


def open_files() -> int:
    """How many files this process has open."""
    return sum(1 for _ in Path("/dev/fd").iterdir())


def is_open(connection: sqlite3.Connection) -> bool:
    """Whether it still answers."""
    try:
        connection.execute("SELECT 1")
    except sqlite3.ProgrammingError:
        return False
    return True


def note(database: Database, says: str) -> None:
    """Note something."""
    with database.transaction() as connection:
        connection.execute("INSERT INTO note VALUES (?)", (says,))


def notes(database: Database) -> list[str]:
    """All that was noted and committed."""
    with database.reading() as connection:
        return [says for (says,) in connection.execute("SELECT says FROM note").fetchall()]


def test_a_transaction_is_all_or_nothing(path: Path) -> None:
    """What was written before an exception is gone after it."""
    database = Database(path, NOTES)

    def half() -> None:
        with database.transaction() as connection:
            connection.execute("INSERT INTO note VALUES ('half')")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        half()
    note(database, "whole")

    assert notes(database) == ["whole"]
    database.close()


def test_an_inner_transaction_is_part_of_the_outer(path: Path) -> None:
    """It commits with the outer one and not before, and is undone with it."""
    database = Database(path, NOTES)

    def outer() -> None:
        with database.transaction():
            note(database, "inner")
            assert notes(database) == []
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        outer()

    assert notes(database) == []
    database.close()


def test_actions_wait_for_the_commit(path: Path) -> None:
    """What is to be done once committed sees the commit; after a rollback it is never done."""
    database = Database(path, NOTES)
    seen: list[list[str]] = []

    def undone() -> None:
        with database.transaction():
            database.once_committed(lambda: seen.append(["never"]))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        undone()
    with database.transaction():
        database.once_committed(lambda: seen.append(notes(database)))
        note(database, "kept")
        assert seen == []

    assert seen == [["kept"]]
    database.close()


def test_threads_take_turns(path: Path) -> None:
    """Transactions of several threads never mix: each finds its own writes only."""
    database = Database(path, NOTES)
    mixed: list[int] = []

    def write() -> None:
        for _ in range(50):
            with database.transaction() as connection:
                connection.execute("DELETE FROM note")
                connection.execute("INSERT INTO note VALUES ('mine')")
                (count,) = connection.execute("SELECT count(*) FROM note").fetchone()
                if count != 1:
                    mixed.append(count)

    threads = [threading.Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert mixed == []
    database.close()


def test_a_reader_sees_one_moment(path: Path) -> None:
    """What is committed while a reader reads is not seen until the next time."""
    database = Database(path, NOTES)

    with database.reading() as reader:
        before = reader.execute("SELECT count(*) FROM note").fetchone()
        note(database, "meanwhile")
        during = reader.execute("SELECT count(*) FROM note").fetchone()

    assert before == during == (0,)
    assert notes(database) == ["meanwhile"]
    database.close()


def test_readers_cannot_write(path: Path) -> None:
    """The connection for reading refuses to change anything."""
    database = Database(path, NOTES)

    with pytest.raises(StoreError, match="readonly"), database.reading() as connection:
        connection.execute("INSERT INTO note VALUES ('sly')")

    assert notes(database) == []
    database.close()


def test_a_failed_reader_is_not_used_again(path: Path) -> None:
    """A connection that was in a block that raised is closed; the next reader gets a sound one."""
    database = Database(path, NOTES)
    failed: list[sqlite3.Connection] = []

    def fail() -> None:
        with database.reading() as connection:
            failed.append(connection)
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()

    with pytest.raises(sqlite3.ProgrammingError, match="closed"):
        failed[0].execute("SELECT 1")
    assert notes(database) == []
    database.close()


def test_opening_and_closing_leaves_nothing_open(path: Path) -> None:
    """Fifty times open, read, fail, close: no file stays open, also when opening fails."""
    Database(path, NOTES).close()
    gc.collect()
    before = open_files()

    for _ in range(50):
        database = Database(path, NOTES)
        notes(database)
        with pytest.raises(StoreUnavailable), database.reading() as connection:
            connection.execute("SELECT nothing FROM nowhere")
        database.close()
        database.close()
        with pytest.raises(StoreError, match="newer"):
            Database(path, ())

    assert open_files() == before


def test_a_rush_of_readers_leaves_few_connections(path: Path) -> None:
    """Each keeps a cache: a few stay for the next readers, and the one used last goes first."""
    database = Database(path, NOTES)
    with ExitStack() as stack:
        rush = [stack.enter_context(database.reading()) for _ in range(40)]
    next_ones = []
    for _ in range(3):
        with database.reading() as connection:
            next_ones.append(connection)

    still_open = [connection for connection in rush if is_open(connection)]
    assert len(still_open) == MOST_IDLE
    assert next_ones == [next_ones[0]] * 3
    assert next_ones[0] in still_open
    database.close()
    assert not any(is_open(connection) for connection in rush)


def test_a_reader_may_outlive_the_closing(path: Path) -> None:
    """Who reads while the file is closed finishes; who comes later is told."""
    database = Database(path, NOTES)

    with database.reading() as connection:
        database.close()
        assert connection.execute("SELECT count(*) FROM note").fetchone() == (0,)

    with pytest.raises(StoreUnavailable, match="closed"):
        notes(database)
    with pytest.raises(sqlite3.ProgrammingError, match="closed"):
        connection.execute("SELECT 1")


def test_migrations_run_once_and_in_order(path: Path) -> None:
    """A file made by an older version gets the new steps only."""
    Database(path, NOTES).close()
    later = (*NOTES, Migration("more", ("ALTER TABLE note ADD COLUMN at_ms INTEGER",)))

    Database(path, later).close()
    database = Database(path, later)

    with database.reading() as connection:
        columns = connection.execute("PRAGMA table_info(note)").fetchall()
    assert [column[1] for column in columns] == ["says", "at_ms"]
    database.close()


def test_a_failing_migration_leaves_the_old_schema(path: Path) -> None:
    """A step that fails half-way leaves no trace, so that it can be tried again."""
    Database(path, NOTES).close()
    broken = Migration("broken", ("CREATE TABLE half (x)", "CREATE TABLE note (x)"))

    with pytest.raises(StoreError, match="already exists"):
        Database(path, (*NOTES, broken))

    database = Database(path, NOTES)
    with pytest.raises(StoreError, match="half"), database.reading() as connection:
        connection.execute("SELECT * FROM half")
    database.close()


def test_a_newer_file_is_refused(path: Path) -> None:
    """A schema from the future is not touched; the message says what to do."""
    Database(path, (*NOTES, *NOTES[:0], Migration("next", ()))).close()

    with pytest.raises(StoreError, match=r"schema 2, this one knows 1.*upgrade dewkeep"):
        Database(path, NOTES)


def test_another_programs_database_is_refused(path: Path) -> None:
    """A path that points at someone else's SQLite file must not fill it with our tables."""
    with sqlite3.connect(path) as foreign:
        foreign.execute("CREATE TABLE theirs (x)")
    foreign.close()

    with pytest.raises(StoreError, match="another program"):
        Database(path)


def test_a_file_that_is_no_database_is_refused(path: Path) -> None:
    """The keeper is told to keep the file and to restore a back-up."""
    path.write_bytes(b"not a database, but long enough to be looked at" * 100)

    with pytest.raises(StoreError, match=r"damaged or no dewkeep database.*restore"):
        Database(path)


def test_a_missing_folder_is_named(tmp_path: Path) -> None:
    """The message has the path and what to check."""
    with pytest.raises(StoreError, match=r"nowhere/dewkeep\.db: cannot be opened.*folder exists"):
        Database(tmp_path / "nowhere" / "dewkeep.db")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_of_another_user_is_named(tmp_path: Path) -> None:
    """A folder that cannot be written is said to be one."""
    tmp_path.chmod(0o500)

    with pytest.raises(StoreError, match="cannot be opened for writing"):
        Database(tmp_path / "dewkeep.db")


@pytest.mark.usefixtures("impatient")
def test_another_process_holding_the_file_is_passing(path: Path) -> None:
    """A lock held too long is 'unavailable': the caller keeps what it has and tries again."""
    database = Database(path, NOTES)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")

    with pytest.raises(StoreUnavailable, match="locked"), database.transaction():
        pass
    other.execute("ROLLBACK")
    note(database, "later")

    assert notes(database) == ["later"]
    other.close()
    database.close()


def test_a_full_disk_is_passing(path: Path) -> None:
    """When the disk is full nothing half is kept, and writing goes on once there is room."""
    database = Database(path, NOTES)
    database.writer.execute("PRAGMA max_page_count = 8")

    def small_and_large() -> None:
        with database.transaction():
            note(database, "small")
            note(database, "x" * 100_000)

    with pytest.raises(StoreUnavailable, match="full"):
        small_and_large()
    database.writer.execute("PRAGMA max_page_count = 1000")
    note(database, "again")

    assert notes(database) == ["again"]
    database.close()


def test_a_checkpoint_empties_the_log(path: Path) -> None:
    """After it the write-ahead log takes no space, unless it is called inside a transaction."""
    database = Database(path, NOTES)
    wal = path.with_name("dewkeep.db-wal")
    note(database, "one")

    with database.transaction():
        database.checkpoint()
    kept = wal.stat().st_size
    database.checkpoint()

    assert kept > 0
    assert wal.stat().st_size == 0
    database.close()


def test_a_checkpoint_does_not_wait_for_readers(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reader in the log puts emptying it off; the writer goes on, and the next time succeeds."""
    monkeypatch.setattr(database_module, "BUSY_TIMEOUT_S", 60.0)
    database = Database(path, NOTES)
    wal = path.with_name("dewkeep.db-wal")
    note(database, "one")
    checkpoint = threading.Thread(target=database.checkpoint)

    with database.reading() as reader:
        reader.execute("SELECT * FROM note").fetchall()
        checkpoint.start()
        checkpoint.join(timeout=10)
        waits = checkpoint.is_alive()
        kept = wal.stat().st_size
    checkpoint.join()
    database.checkpoint()

    assert not waits
    assert kept > 0
    assert wal.stat().st_size == 0
    database.close()
