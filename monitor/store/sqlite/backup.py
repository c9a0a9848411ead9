"""A consistent copy of the database while it is in use, and the way back."""

import os
import shutil
import sqlite3
from pathlib import Path

from monitor.errors import Conflict, StoreError
from monitor.store.sqlite.database import APPLICATION_ID, Database
from monitor.store.sqlite.migrations import MIGRATIONS
from monitor.store.sqlite.state import photos


def back_up(database: Database, target: Path) -> int:
    """Write a copy of one moment; writers go on meanwhile. The size of the copy in bytes.

    Raises:
        Conflict: the target exists already.
        StoreError: it cannot be written.
    """
    if target.exists():
        raise Conflict(f"{target} exists already; name a new file or move it away")
    unfinished = target.with_name(f"{target.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    try:
        with database.reading() as connection:
            connection.execute("COMMIT")  # VACUUM runs in no transaction
            connection.execute("VACUUM INTO ?", (str(unfinished),))
            connection.execute("BEGIN")
        # Only a whole copy gets the name, and only after it is on the disk.
        with unfinished.open("rb") as copy:
            os.fsync(copy.fileno())
        unfinished.rename(target)
    except OSError as exc:
        raise StoreError(f"{target}: cannot be written: {exc.strerror}") from exc
    finally:
        unfinished.unlink(missing_ok=True)
    return target.stat().st_size


def restore(source: Path, target: Path) -> Path | None:
    """Put a copy in the place of the database; where the old one was moved to, if there was one.

    Raises:
        StoreError: the copy is no dewkeep database, is damaged, or was written by a newer dewkeep.
        Conflict: a daemon has the database open.
    """
    _check(source)
    aside = None
    if target.exists():
        _must_be_idle(target)
        aside = _free_name(target)
        target.rename(aside)
        for companion in ("-wal", "-shm"):
            left = target.with_name(target.name + companion)
            if left.exists():
                left.rename(aside.with_name(aside.name + companion))
    arriving = target.with_name(f"{target.name}.arriving")
    shutil.copyfile(source, arriving)
    arriving.rename(target)
    return aside


def names_in(copy: Path) -> set[str]:
    """The names of the photos that a copy's journal shows; a copy of an older version has none."""
    connection = sqlite3.connect(f"{copy.absolute().as_uri()}?mode=ro", uri=True)
    try:
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        if "photos" not in {migration.name for migration in MIGRATIONS[:version]}:
            return set()
        return photos.names(connection)
    except sqlite3.Error as exc:
        raise StoreError(f"{copy}: damaged or no database ({exc})") from exc
    finally:
        connection.close()


def _check(source: Path) -> None:
    if not source.is_file():
        raise StoreError(f"{source}: there is no such file")
    try:
        connection = sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True)
        try:
            (application,) = connection.execute("PRAGMA application_id").fetchone()
            (version,) = connection.execute("PRAGMA user_version").fetchone()
            (verdict,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
        finally:
            connection.close()
    except sqlite3.Error as exc:
        raise StoreError(f"{source}: damaged or no database ({exc})") from exc
    if application != APPLICATION_ID:
        raise StoreError(f"{source}: is no dewkeep database")
    if version > len(MIGRATIONS):
        raise StoreError(f"{source}: written by a newer dewkeep; upgrade dewkeep first")
    if verdict != "ok":
        raise StoreError(f"{source}: damaged ({verdict}); use another copy")


def _must_be_idle(target: Path) -> None:
    """A connection that wants the file for itself is refused while anyone else has it open."""
    connection = sqlite3.connect(target, timeout=0)
    try:
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as exc:
        raise Conflict(f"{target} is in use; stop dewkeep first") from exc
    except sqlite3.DatabaseError:
        return  # damaged: all the more reason to restore
    finally:
        connection.close()


def _free_name(target: Path) -> Path:
    number = 1
    while (name := target.with_name(f"{target.name}.replaced-{number}")).exists():
        number += 1
    return name
