"""A probe's recent past for the analyses."""

from contextlib import closing
from pathlib import Path

import numpy as np

from monitor.jobs.histories import history_of
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.models import Probe
from monitor.species.ranges import Zone
from monitor.store.readings import Readings, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.times import MINUTE_MS

T = 1_795_600_000_000


def test_what_says_nothing_about_the_climate_is_left_out(tmp_path: Path) -> None:
    """Bad values and those from a salt box; others that are suspect may be the cause and stay."""
    reasons = [Reason.OK, Reason.STEP, Reason.AWAY, Reason.LIMIT, Reason.FLAT]
    at_ms = T + MINUTE_MS * np.arange(len(reasons))
    with closing(Database(tmp_path / "dewkeep.db")) as database:
        readings = SqliteReadings(database)
        for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY):
            (series,) = readings.series_ids([SeriesKey("cork-cube", "canopy", quantity)])
            readings.backfill(
                Readings(
                    np.full(len(at_ms), series),
                    at_ms,
                    20.0 + np.arange(len(at_ms), dtype=np.float64),
                    np.array(reasons, np.uint8),
                )
            )
        probe = Probe(id="canopy", zone=Zone.CANOPY)

        found = history_of(readings, "cork-cube", probe, int(at_ms[-1]))

    assert found.humidity.tolist() == [20.0, 21.0, 24.0]
