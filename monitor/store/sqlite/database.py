"""The SQLite file: how it is opened, written by one connection and read by many.

One process writes through :meth:`Database.transaction`, whose threads take turns; readers use
:meth:`Database.reading`, whose connections cannot write and never block the writer (WAL). Other
processes (an import, a back-up) may open the same file: SQLite's lock makes them take turns.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import RLock

from monitor.errors import StoreError, StoreUnavailable
from monitor.store.sqlite.migrations import MIGRATIONS, Migration

BUSY_TIMEOUT_S = 5.0
"""How long a writer waits for another process to finish its transaction."""

_CANNOT_OPEN = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM)
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


class Database:
    """An open SQLite file with the schema of this version.

    Raises:
        StoreError: the file cannot be opened, is no database, is damaged, or was written by a
            newer dewkeep.
    """

    def __init__(self, path: Path, migrations: tuple[Migration, ...] = MIGRATIONS) -> None:
        self.path = path
        self._idle_readers: SimpleQueue[sqlite3.Connection] = SimpleQueue()
        self._turn = RLock()
        with self._translated():
            self.writer = sqlite3.connect(
                path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
            )
            # FULL, not NORMAL: an acknowledged reading must survive a power cut.
            self.writer.executescript(
                """
                PRAGMA journal_mode = WAL;
                PRAGMA synchronous = FULL;
                PRAGMA foreign_keys = ON;
                PRAGMA journal_size_limit = 16777216;
                """
            )
            self._migrate(migrations)

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing: commits when the block ends well, rolls back when it raises.

        Threads take turns: be quick, and never wait for another thread inside the block.
        """
        with self._turn, self._translated():
            self.writer.execute("BEGIN IMMEDIATE")
            try:
                yield self.writer
                self.writer.execute("COMMIT")
            except BaseException:
                # A failed COMMIT (disk full) leaves the transaction open.
                if self.writer.in_transaction:
                    self.writer.execute("ROLLBACK")
                raise

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """A connection that cannot write, from any thread; fetch all and be quick.

        An open cursor keeps the write-ahead log from being recycled, so none may outlive the block.
        """
        try:
            connection = self._idle_readers.get_nowait()
        except Empty:
            with self._translated():
                connection = sqlite3.connect(
                    f"{self.path.absolute().as_uri()}?mode=ro",
                    uri=True,
                    timeout=BUSY_TIMEOUT_S,
                    isolation_level=None,
                    check_same_thread=False,
                )
        with self._translated():
            yield connection
        self._idle_readers.put(connection)

    def close(self) -> None:
        """Close all connections; calling it twice does no harm."""
        while True:
            try:
                self._idle_readers.get_nowait().close()
            except Empty:
                break
        self.writer.close()

    def _migrate(self, migrations: tuple[Migration, ...]) -> None:
        (version,) = self.writer.execute("PRAGMA user_version").fetchone()
        if version > len(migrations):
            raise StoreError(
                f"{self.path}: written by a newer dewkeep (schema {version}, "
                f"this one knows {len(migrations)}); upgrade dewkeep or restore an older back-up"
            )
        for number, migration in enumerate(migrations[version:], start=version + 1):
            with self.transaction() as connection:
                for statement in migration.statements:
                    connection.execute(statement)
                connection.execute(f"PRAGMA user_version = {number}")

    @contextmanager
    def _translated(self) -> Iterator[None]:
        """Turn SQLite's exceptions into ours."""
        try:
            yield
        except sqlite3.Error as exc:
            code = getattr(exc, "sqlite_errorcode", 0) & 0xFF
            if code in _CANNOT_OPEN:
                raise StoreError(
                    f"{self.path}: cannot be opened for writing ({exc}); "
                    "check that the folder exists and belongs to the user dewkeep runs as"
                ) from exc
            if code in _DAMAGED:
                raise StoreError(
                    f"{self.path}: damaged or no dewkeep database ({exc}); "
                    "keep the file and restore a back-up with `dewkeep restore`"
                ) from exc
            if isinstance(exc, sqlite3.OperationalError):
                raise StoreUnavailable(f"{self.path}: {exc}") from exc
            raise StoreError(f"{self.path}: {exc}") from exc
