"""Whatever goes wrong: no reading and no alarm is lost or doubled, nothing is told twice.

The short form of `python -m tests.faults`, whose figures stand in docs/reliability.md.
"""

from pathlib import Path

import pytest

from tests.faults.catalogue import FAULTS
from tests.faults.scale import Scale, Skipped


@pytest.mark.slow
@pytest.mark.parametrize("name", FAULTS)
def test_no_harm_is_done(name: str, tmp_path: Path) -> None:
    """Counted from what the devices sent and what the receiver was told."""
    try:
        tally = FAULTS[name](tmp_path, Scale(long=False))
    except Skipped as why:
        pytest.skip(str(why))

    assert tally.readings > 0
    assert tally.alarms > 0
    assert tally.harm == {}
