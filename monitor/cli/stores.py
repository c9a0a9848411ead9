"""The memory as commands use it: the database, and the readings in whatever engine holds them."""

from collections.abc import Iterator
from contextlib import closing, contextmanager

from monitor.setup.settings import Settings
from monitor.store.engines import opened
from monitor.store.readings import ReadingStore
from monitor.store.sqlite.database import Database


@contextmanager
def stores(settings: Settings) -> Iterator[tuple[Database, ReadingStore]]:
    """Both, open while the block lasts.

    Raises:
        StoreError: the database cannot be opened.
    """
    with (
        closing(Database(settings.store.path)) as database,
        opened(settings.store, database) as readings,
    ):
        yield database, readings
