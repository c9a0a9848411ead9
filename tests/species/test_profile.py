"""What a profile may say, and what it is taken to say."""

from typing import Any

import pytest

from monitor.documents.toml import parse
from monitor.errors import SettingsError
from monitor.quantities import Quantity
from monitor.species.profile import Need, Profile, When
from monitor.species.ranges import Ranged, Span, Zone

T: Ranged = Quantity.TEMPERATURE
H: Ranged = Quantity.HUMIDITY
MEMORY = {"basis": "from memory"}


def _span(low: float, high: float) -> Span:
    return Span(low=low, high=high)


def _range(quantity: str = "temperature", **keys: Any) -> dict[str, Any]:
    return {"quantity": quantity, **keys, **MEMORY}


def _profile(*ranges: dict[str, Any], **keys: Any) -> Profile:
    document = {
        "id": "some-gecko",
        "scientific": "Some gecko",
        "name": "Gecko",
        "kind": "animal",
        "ventilation": "medium",
        "range": list(ranges),
    }
    return parse(Profile, document | keys, "some-gecko.toml")


@pytest.mark.parametrize(
    ("ranges", "says"),
    [
        ([_range()], r"range\[1\]: says nothing; write preferred, tolerated"),
        ([_range(preferred=[30, 20])], r"range\[1\].preferred: reversed range \[30, 20\]"),
        (
            [_range("humidity", tolerated=[50, 120])],
            r"range\[1\].tolerated: \[50, 120\] reaches outside what a probe can measure",
        ),
        (
            [_range(preferred=[10, 30], tolerated=[20, 30])],
            r"range\[1\].preferred: \[10, 30\] reaches beyond tolerated \[20, 30\]",
        ),
        (
            [_range(when="day", tolerated=[10, 40]), _range(critical=[12, 35])],
            r"range\[1\].tolerated: \[10, 40\] reaches beyond critical \[12, 35\]",
        ),
        (
            [_range(when="night", critical=[10, 40])],
            r"range\[1\].when: a critical range holds day and night",
        ),
        ([_range(zones=["room"], tolerated=[10, 40])], r"range\[1\].zones: 'room' is the air out"),
        (
            [_range(tolerated=[10, 40]), _range(tolerated=[10, 41])],
            r"range\[2\].tolerated: is given already; keep one and write used = false",
        ),
        ([_range("illuminance", tolerated=[1, 2])], r"range\[1\].quantity: must be one of temp"),
        ([_range("dew_point", tolerated=[1, 2])], r"range\[1\].quantity: must be one of temp"),
        ([_range(zones=["canpy"], tolerated=[1, 2])], r"zones\[1\]: .*did you mean 'canopy'"),
        (
            [{"quantity": "temperature", "tolerated": [1, 2]}],
            r"range\[1\].basis: is missing; write one of published, common practice, no source, ",
        ),
        (
            [{"quantity": "temperature", "tolerated": [1, 2], "basis": "published"}],
            r"range\[1\].source: is missing; name what the published numbers stand in",
        ),
        ([], "range: is empty; write at least one"),
    ],
)
def test_a_profile_that_makes_no_sense_is_refused(ranges: list[dict[str, Any]], says: str) -> None:
    """The message names the file, the range by its number, and what would be right."""
    with pytest.raises(SettingsError, match=rf"some-gecko\.toml: .*{says}"):
        _profile(*ranges)


def test_a_plant_has_no_critical_range() -> None:
    """It would never be heeded, so it is not taken silently; a crew's says what it survives."""
    crew = _profile(_range(critical=[5, 40]), kind="crew")

    assert crew.need(Zone.FLOOR, T, When.CRITICAL, 6) == Need(_span(5, 40), _span(5, 40))
    with pytest.raises(SettingsError, match=r"range\[1\].critical: only an animal's"):
        _profile(_range(critical=[5, 40]), kind="plant")


def test_a_month_belongs_to_one_season() -> None:
    """Two seasons that claim a month would leave the range to chance."""
    rest = {"name": "rest", "months": [11, 12], "range": [_range(tolerated=[5, 10])], **MEMORY}
    dry = {"name": "dry", "months": [12, 1], "range": [_range(tolerated=[5, 10])], **MEMORY}

    with pytest.raises(SettingsError, match=r"season\[dry\].months: month 12 belongs to 'rest'"):
        _profile(_range(tolerated=[5, 30]), season=[rest, dry])


def test_a_season_names_its_months_and_ranges() -> None:
    """A season that never comes, or says nothing, is a mistake."""
    rest = {"name": "rest", "months": [], "range": [], **MEMORY}

    with pytest.raises(SettingsError) as refusal:
        _profile(_range(tolerated=[5, 30]), season=[rest])

    assert [problem.key for problem in refusal.value.problems] == [
        "season[rest].months",
        "season[rest].range",
    ]


@pytest.mark.parametrize("zone", [Zone.WARM, Zone.COOL, Zone.CANOPY, Zone.FLOOR])
def test_a_range_without_zones_holds_in_all_the_air(zone: Zone) -> None:
    """The air at large is warm, cool, canopy and floor; neither soil nor the room."""
    profile = _profile(_range(tolerated=[20, 30]))

    assert profile.need(zone, T, When.DAY, 6) == Need(_span(20, 30), _span(20, 30))
    assert profile.need(Zone.SUBSTRATE, T, When.DAY, 6) is None
    assert profile.need(Zone.ROOM, T, When.DAY, 6) is None
    assert profile.need(zone, H, When.DAY, 6) is None
    assert profile.need(zone, T, When.CRITICAL, 6) is None


def test_a_zone_of_its_own_comes_before_the_air_at_large() -> None:
    """A cool end is not judged by what holds elsewhere."""
    profile = _profile(_range(tolerated=[20, 30]), _range(zones=["cool"], preferred=[15, 20]))

    assert profile.need(Zone.COOL, T, When.DAY, 6) == Need(_span(15, 20), _span(15, 20))
    assert profile.need(Zone.WARM, T, When.DAY, 6) == Need(_span(20, 30), _span(20, 30))


def test_day_and_night_come_before_always_grade_by_grade() -> None:
    """What is tolerated always and preferred by day come together for the day."""
    profile = _profile(_range(tolerated=[20, 30]), _range(when="day", preferred=[24, 26]))

    assert profile.need(Zone.WARM, T, When.DAY, 6) == Need(_span(20, 30), _span(24, 26))
    assert profile.need(Zone.WARM, T, When.NIGHT, 6) == Need(_span(20, 30), _span(20, 30))


def test_a_season_comes_before_the_year() -> None:
    """In its months only, and only for what it speaks of."""
    rest = {"name": "rest", "months": [12, 1], "range": [_range(tolerated=[5, 10])], **MEMORY}
    profile = _profile(
        _range(zones=["floor"], tolerated=[20, 30]),
        _range("humidity", tolerated=[40, 60]),
        season=[rest],
    )

    assert profile.need(Zone.FLOOR, T, When.DAY, 1) == Need(_span(5, 10), _span(5, 10))
    assert profile.need(Zone.FLOOR, T, When.DAY, 2) == Need(_span(20, 30), _span(20, 30))
    assert profile.need(Zone.FLOOR, H, When.DAY, 1) == Need(_span(40, 60), _span(40, 60))


def test_what_is_kept_for_the_record_is_not_used() -> None:
    """A conflicting range with used = false changes nothing."""
    profile = _profile(
        _range(tolerated=[20, 30]), _range(tolerated=[10, 15], used=False), _range(critical=[5, 40])
    )

    assert profile.need(Zone.FLOOR, T, When.NIGHT, 6) == Need(_span(20, 30), _span(20, 30))
    assert profile.need(Zone.FLOOR, T, When.CRITICAL, 6) == Need(_span(5, 40), _span(5, 40))


def test_an_animal_that_knows_no_basking_spot_is_safe_in_one() -> None:
    """Its range for the air holds there too; a plant simply is not planted there."""
    frog = _profile(_range(critical=[14, 28]))
    dragon = _profile(_range(critical=[10, 40]), _range(zones=["basking"], tolerated=[35, 45]))
    fern = _profile(_range(tolerated=[14, 28]), kind="plant")

    assert frog.need(Zone.BASKING, T, When.CRITICAL, 6) == Need(_span(14, 28), _span(14, 28))
    assert dragon.need(Zone.BASKING, T, When.CRITICAL, 6) is None
    assert dragon.need(Zone.BASKING, T, When.DAY, 6) == Need(_span(35, 45), _span(35, 45))
    assert fern.need(Zone.BASKING, T, When.DAY, 6) is None
