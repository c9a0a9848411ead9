"""The company of an enclosure under its keeper's own ranges."""

import datetime as dt

import pytest

from monitor.errors import NotFound
from monitor.setup.company import company, company_of, day_of
from monitor.setup.models import Enclosure
from monitor.setup.ranges import ranges_of
from monitor.species.library import load_library
from monitor.times import parse_rfc3339

LIBRARY = load_library()
JUNE = dt.date(2027, 6, 15)
FROGS = Enclosure.model_validate(
    {
        "id": "column",
        "name": "Column",
        "timezone": "Pacific/Auckland",
        "inhabitant": [{"species": "dendrobates-tinctorius"}],
        "range": {
            "floor": {
                "day": {"temperature": [27, 29], "humidity": [79, 81]},
                "night": {"temperature": [19, 21], "humidity": [79, 81]},
            }
        },
    }
)


def test_water_is_reckoned_with_the_ranges_in_force() -> None:
    """What the keeper wrote, not what the profile would have it."""
    found = company_of(FROGS, LIBRARY, JUNE)

    assert found.ranges == ranges_of(FROGS, LIBRARY, JUNE)
    (floor,) = [each for each in found.water.evenings if "floor" in each.zones]
    assert floor.least_g_m3 > 0


def test_the_day_is_that_of_the_enclosures_clock() -> None:
    """In the evening of UTC it is the next morning there."""
    assert day_of(FROGS, parse_rfc3339("2026-11-30T20:00:00Z")) == dt.date(2026, 12, 1)
    assert day_of(FROGS, parse_rfc3339("9999-12-31T23:59:59Z")) == dt.date(2200, 1, 1)


def test_a_species_without_a_profile_is_told() -> None:
    """It went missing since, or was never there."""
    with pytest.raises(NotFound, match="no species profile 'nobody'"):
        company(["nobody"], {}, LIBRARY, JUNE)
