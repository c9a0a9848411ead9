"""The set-up in force, compiled for one day."""

import pytest

from monitor.ingest.standing import stand
from monitor.times import DAY_MS, parse_rfc3339
from tests.support.rig import LIBRARY, NOON_MS, Rig

EAST_AND_WEST = """
    [[enclosure]]
    id = "west"
    name = "West"
    timezone = "America/Los_Angeles"
    [[enclosure]]
    id = "east"
    name = "East"
    timezone = "Pacific/Auckland"
"""


@pytest.mark.parametrize(
    ("zone", "now", "midnight"),
    [
        ("Europe/Lisbon", "2026-06-10T12:00:00Z", "2026-06-10T23:00:00Z"),
        ("Europe/Lisbon", "2026-10-24T23:30:00Z", "2026-10-26T00:00:00Z"),  # 25 h long
        ("Europe/Lisbon", "2026-03-29T00:30:00Z", "2026-03-29T23:00:00Z"),  # 23 h long
        # Midnight does not exist there on this day (IANA: clocks go from 00:00 to 01:00).
        ("America/Santiago", "2026-09-05T20:00:00Z", "2026-09-06T04:00:00Z"),
    ],
)
def test_ranges_are_looked_up_again_at_midnight(
    rig: Rig, zone: str, now: str, midnight: str
) -> None:
    """That of the enclosure's own clock, also on days that are longer or shorter."""
    text = f'[[enclosure]]\nid = "cork-cube"\nname = "Cork"\ntimezone = "{zone}"\n'
    rig.apply(rig.settings.store.path.with_name("zone.toml"), text)

    assert _until(rig, parse_rfc3339(now)) == parse_rfc3339(midnight)


def test_the_first_midnight_of_all_counts(rig: Rig) -> None:
    """Enclosures may stand on both sides of the globe."""
    rig.apply(rig.settings.store.path.with_name("both.toml"), EAST_AND_WEST)

    # Auckland is 13 hours ahead in November: its midnight comes before those of UTC and the west.
    assert _until(rig, parse_rfc3339("2026-11-20T10:00:00Z")) == parse_rfc3339(
        "2026-11-20T11:00:00Z"
    )


def test_without_enclosures_a_day_will_do(rig: Rig) -> None:
    """There is nothing whose midnight it could be."""
    with rig.database.transaction() as connection:
        connection.execute("DELETE FROM place")

    assert _until(rig, NOON_MS) == NOON_MS + DAY_MS


def _until(rig: Rig, now_ms: int) -> int:
    with rig.database.transaction() as connection:
        return stand(connection, LIBRARY, rig.settings, rig.readings, now_ms).until_ms
