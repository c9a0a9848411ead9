"""A pipeline and its loop, without a broker."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.support.rig import Rig


@pytest.fixture
def new_rig(tmp_path: Path) -> Iterator[Callable[..., Rig]]:
    """Makes a rig in a folder of its own; closed in the end."""
    rigs: list[Rig] = []

    def make(**how: Any) -> Rig:
        folder = tmp_path / f"rig{len(rigs)}"
        folder.mkdir()
        rigs.append(Rig(folder, **how))
        return rigs[-1]

    yield make
    for rig in rigs:
        rig.close()


@pytest.fixture
def rig(new_rig: Callable[..., Rig]) -> Rig:
    """One enclosure, one room, at noon."""
    return new_rig()
