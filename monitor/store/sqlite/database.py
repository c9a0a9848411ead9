"""The SQLite file: how it is opened, written by one connection and read by many.

Writers take turns: threads of this process by a lock, other processes (an import, a back-up) by
SQLite's own. Readers use :meth:`Database.reading`, whose connections cannot write, see one
unchanging moment of the file and never block a writer (WAL).
"""

import sqlite3
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import RLock

from monitor.errors import StoreError, StoreUnavailable
from monitor.store.sqlite.migrations import MIGRATIONS, Migration

BUSY_TIMEOUT_S = 5.0
"""How long a writer waits for another process to finish its transaction."""

MOST_IDLE = 8
"""Connections for reading that are kept open while nobody reads."""

APPLICATION_ID = 0x6465776B
"""Marks the file as ours ("dewk"), so that no other program's database is taken for one."""

_CANNOT_OPEN = (sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM)
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


class Database:
    """An open SQLite file with the schema of this version.

    Raises:
        StoreError: the file cannot be opened, is no dewkeep database, is damaged, or was written by
            a newer dewkeep.
        StoreUnavailable: another process holds the file.
    """

    def __init__(self, path: Path, migrations: tuple[Migration, ...] = MIGRATIONS) -> None:
        self.path = path
        self._turn = RLock()
        self._closed = False
        self._on_commit: list[Callable[[], None]] = []
        self._idle_readers: deque[sqlite3.Connection] = deque()
        with self._translated():
            self.writer = self._connect("rwc")
            try:
                self._prepare(migrations)
            except BaseException:
                self.writer.close()
                raise

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing: commits when the block ends well, rolls back when it raises.

        Threads take turns: be quick, and never wait for another thread inside the block. A
        transaction inside another of the same thread is part of it: the outermost decides.
        """
        with self._turn, self._translated():
            if self.writer.in_transaction:
                yield self.writer
                return
            self.writer.execute("BEGIN IMMEDIATE")
            try:
                yield self.writer
                self.writer.execute("COMMIT")
            except BaseException:
                self._on_commit.clear()
                # A failed COMMIT (disk full) leaves the transaction open.
                if self.writer.in_transaction:
                    self.writer.execute("ROLLBACK")
                raise
            done, self._on_commit = self._on_commit, []
            for action in done:
                action()

    def once_committed(self, action: Callable[[], None]) -> None:
        """Inside a transaction: have ``action`` called after it commits, never if it rolls back."""
        self._on_commit.append(action)

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """A connection that cannot write, from any thread; fetch all and be quick.

        All that is read in the block is of one moment. While it lasts the write-ahead log cannot be
        recycled, so no analysis belongs inside it.
        """
        with self._translated():
            connection = self._reader()
            try:
                connection.execute("BEGIN")
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                # Whatever state it is in, the next reader shall not have it.
                connection.close()
                raise
            self._idle_readers.append(connection)
            # The one used last goes first, and those that only a rush needed are let go: each has
            # a cache of its own (2 MB), which would fill in turn and stay.
            self._close_idle(0 if self._closed else MOST_IDLE)

    def checkpoint(self) -> None:
        """Move the write-ahead log into the file and empty it; left for later if a reader is in it.

        Inside a transaction it does nothing.
        """
        with self._turn, self._translated():
            if self.writer.in_transaction:
                return
            # Without a timeout it answers "busy" instead of keeping the writer waiting.
            self.writer.execute("PRAGMA busy_timeout = 0")
            try:
                self.writer.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            finally:
                self.writer.execute(f"PRAGMA busy_timeout = {round(BUSY_TIMEOUT_S * 1000)}")

    def foreign_writes(self) -> int:
        """A number that changes when another process has written to the file."""
        with self._turn, self._translated():
            (version,) = self.writer.execute("PRAGMA data_version").fetchone()
            return int(version)

    def close(self) -> None:
        """Close all connections; calling it twice does no harm."""
        with self._turn:
            self._closed = True
            self._close_idle(0)
            self.writer.close()

    def _connect(self, mode: str) -> sqlite3.Connection:
        return sqlite3.connect(
            f"{self.path.absolute().as_uri()}?mode={mode}",
            uri=True,
            timeout=BUSY_TIMEOUT_S,
            isolation_level=None,
            check_same_thread=False,
        )

    def _reader(self) -> sqlite3.Connection:
        if self._closed:
            raise StoreUnavailable(f"{self.path}: closed")
        try:
            return self._idle_readers.pop()
        except IndexError:
            return self._connect("ro")

    def _close_idle(self, but: int) -> None:
        while len(self._idle_readers) > but:
            try:
                self._idle_readers.popleft().close()
            except IndexError:  # another thread was quicker
                return

    def _prepare(self, migrations: tuple[Migration, ...]) -> None:
        application = int(self._pragma("application_id"))
        version = int(self._pragma("user_version"))
        (tables,) = self.writer.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        if application != APPLICATION_ID and (application or version or tables):
            raise StoreError(
                f"{self.path}: the database of another program; "
                "give [store] path the name of a new file"
            )
        if version > len(migrations):
            raise StoreError(
                f"{self.path}: written by a newer dewkeep (schema {version}, "
                f"this one knows {len(migrations)}); upgrade dewkeep or restore an older back-up"
            )
        if self._pragma("journal_mode = WAL") != "wal":
            raise StoreError(
                f"{self.path}: this file system cannot share a database between a writer and "
                "readers; put [store] path on a local disk"
            )
        # FULL, not NORMAL: an acknowledged reading must survive a power cut.
        self.writer.execute("PRAGMA synchronous = FULL")
        self.writer.execute("PRAGMA foreign_keys = ON")
        self.writer.execute("PRAGMA journal_size_limit = 16777216")
        for number, migration in enumerate(migrations[version:], start=version + 1):
            with self.transaction() as connection:
                if int(self._pragma("user_version")) >= number:
                    continue  # another process opened the new file in the same instant
                for statement in migration.statements:
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {number}")

    def _pragma(self, text: str) -> int | str:
        value: int | str = self.writer.execute(f"PRAGMA {text}").fetchone()[0]
        return value

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
