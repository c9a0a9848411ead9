"""Where the default of ``misting_settle_s`` is from: how long a misting lasts in the demo."""

import numpy as np
import pytest

from monitor.setup.alarming import AlarmSettings
from monitor.simulation import simulate
from monitor.simulation.demo_room import SEED, back_room
from monitor.times import MINUTE_MS

END_MS = 1_796_000_000_000
HOURS = 6


def half_lives_min(humidity: np.ndarray, starts: list[int]) -> list[int]:
    """Minutes from each start of a misting until half of its rise is gone."""
    found = []
    for start in starts:
        rise = humidity[start - 1 : start + 60 * HOURS] - humidity[start - 1]
        peak = int(rise[:60].argmax())
        gone = np.flatnonzero(rise[peak:] < rise[peak] / 2)
        found.append(peak + int(gone[0]) if len(gone) else 60 * HOURS)
    return found


@pytest.mark.slow
def test_most_of_a_misting_is_gone_when_its_excuse_ends() -> None:
    """Half of it after minutes in airy enclosures, after about an hour in the tightest one."""
    room = back_room(END_MS)
    record = simulate(room.scenario, room.start_ms, room.end_ms, step_s=60, seed=SEED)
    medians = {}
    for name, enclosure in record.enclosures.items():
        starts = [
            int(np.searchsorted(record.at_ms, event.at_ms))
            for event in record.events
            if event.owner == name and event.kind == "misted"
        ]
        inside = [start for start in starts if 2 < start < len(record.at_ms) - 60 * HOURS]
        if len(inside) > 10:
            lives = half_lives_min(enclosure.zones["canopy"].humidity, inside)
            medians[name] = float(np.median(lives))

    assert medians == pytest.approx({"cork-cube": 64, "river-column": 9, "fern-drawer": 12}, abs=6)
    settings = AlarmSettings()
    longest_ms = max(medians.values()) * MINUTE_MS
    assert longest_ms < 1000 * (settings.misting_settle_s + settings.on_delay_s)
