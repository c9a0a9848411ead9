"""The API over all parts of a daemon, in this process."""

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from tests.support.house import House
from tests.support.house import house as open_house


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    """A house with one enclosure."""
    with open_house(tmp_path) as built:
        yield built


@pytest.fixture
def http(house: House) -> httpx.Client:
    """Its API."""
    return house.http
