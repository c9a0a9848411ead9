"""Springtails, isopods and plants, as a keeper sees them."""

import datetime as dt

import pytest

from monitor.analysis.settling import Name, Result
from monitor.analysis.settling.crew import crew, plants
from monitor.species.settling import SettlingLimits

LIMITS = SettlingLimits()
TODAY = dt.date(2026, 2, 20)


def ago(days: int) -> dt.date:
    """So many days before today."""
    return TODAY - dt.timedelta(days=days)


@pytest.mark.parametrize(
    ("looks", "result", "says"),
    [
        ([(3, True)], Result.PASS, "seen on 17 February"),
        ([(14, True), (9, False), (5, False), (2, False)], Result.PASS, "seen on 6 February"),
        ([(15, True), (4, False)], Result.UNKNOWN, "not seen at 1 look in the last 14 days"),
        ([(9, False), (5, False), (2, False)], Result.FAIL, "not seen at 3 looks"),
        ([], Result.UNKNOWN, "nobody has looked in the last 14 days; a look is due"),
    ],
)
def test_crew_is_seen_by_luck(looks: list[tuple[int, bool]], result: Result, says: str) -> None:
    """One sighting within a fortnight is enough; three looks in vain make it missing."""
    found = crew(Name.SPRINGTAILS, [(ago(days), seen) for days, seen in looks], TODAY, LIMITS)

    assert found.result is result
    assert says in found.says
    assert found.earliest == (TODAY if result is Result.UNKNOWN else None)
    assert found.relapsed is (result is Result.FAIL)


@pytest.mark.parametrize(
    ("looks", "result", "says", "relapse"),
    [
        ([(20, "rooted")], Result.UNKNOWN, "nobody has looked", False),
        ([(9, "standing"), (3, "rooted")], Result.PASS, "Plants on 17 February: rooted", False),
        ([(9, "rooted"), (3, "standing")], Result.UNKNOWN, "try a gentle pull", False),
        ([(9, "rooted"), (3, "wilting")], Result.FAIL, "wilting", True),
    ],
)
def test_plants_must_be_found_rooted(
    looks: list[tuple[int, str]], result: Result, says: str, relapse: bool
) -> None:
    """The last look counts; wilting is no matter of time."""
    found = plants([(ago(days), state) for days, state in looks], TODAY, LIMITS)

    assert found.result is result
    assert says in found.says
    assert found.relapsed is relapse
    assert found.earliest == (TODAY if result is Result.UNKNOWN else None)
