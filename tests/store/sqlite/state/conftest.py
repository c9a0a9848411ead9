"""A database file for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.store.sqlite.database import Database


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """An empty database with the schema of this version."""
    database = Database(tmp_path / "dewkeep.db")
    yield database
    database.close()
