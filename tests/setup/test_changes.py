"""What a change made of a place, in words."""

import json
from typing import Any, NamedTuple

import pytest

from monitor.setup.changes import details, differences, summary

CUBE: dict[str, Any] = {
    "id": "cork-cube",
    "name": "Cork cube",
    "volume_l": None,
    "probe": [
        {"id": "canopy", "zone": "canopy", "calibration": {}},
        {"id": "floor", "zone": "floor", "calibration": {}},
    ],
    "inhabitant": [{"species": "correlophus-ciliatus", "count": 1}],
    "range": {"canopy": {"day": {"humidity": [60.0, 80.0], "temperature": None}}},
}


class Kept(NamedTuple):
    """A change as the store keeps it."""

    revision: int
    at_ms: int
    who: str
    id: str
    before: str | None
    after: str | None


def changed(**keys: Any) -> list[str]:
    """What the cube with other keys differs in, in words."""
    return [each.says for each in differences(CUBE, CUBE | keys)]


def test_nothing_differs_from_itself() -> None:
    """An empty list and a missing one are the same."""
    assert changed() == []
    assert differences({"a": None, "b": [], "c": {}}, {"a": [], "b": {}}) == []


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"name": "Cube"}, ["name: Cork cube became Cube"]),
        ({"volume_l": 90.0}, ["volume_l: added 90"]),
        (
            {"range": {"canopy": {"day": {"humidity": [60.0, 85.0]}}}},
            ["range.canopy.day.humidity: 60 to 80 became 60 to 85"],
        ),
        ({"range": {}}, ["range.canopy: removed (day (humidity 60 to 80))"]),
        (
            {"inhabitant": [{"species": "ficus-pumila", "count": None}, *CUBE["inhabitant"]]},
            ["inhabitant[ficus-pumila]: added (species ficus-pumila)"],
        ),
        (
            {"probe": CUBE["probe"][1:]},
            ["probe[canopy]: removed (id canopy, zone canopy)"],
        ),
        (
            {"probe": [CUBE["probe"][0] | {"zone": "warm"}, CUBE["probe"][1]]},
            ["probe[canopy].zone: canopy became warm"],
        ),
        ({"probe": CUBE["probe"][::-1]}, []),
    ],
)
def test_a_difference_names_its_key_and_both_values(keys: dict[str, Any], says: list[str]) -> None:
    """Tables of a list go by their name, wherever they stand."""
    assert changed(**keys) == says


def test_false_and_nought_are_values() -> None:
    """They are not taken for nothing."""
    assert [each.says for each in differences({"a": False, "b": 0}, {"a": None})] == [
        "a: removed no",
        "b: removed 0",
    ]


def test_a_change_is_told_with_who_and_when() -> None:
    """In a line, and with every key and both versions."""
    renamed = CUBE | {"name": "Cube"}
    texts = (json.dumps(CUBE), json.dumps(renamed))
    kept = Kept(7, 1_795_600_000_000, "kim", "cork-cube", *texts)

    assert summary(kept) == {
        "number": 7,
        "at": "2026-11-25T09:46:40Z",
        "who": "kim",
        "place": "cork-cube",
        "did": "changed",
        "says": "name: Cork cube became Cube",
    }
    whole = details(kept)
    says = "name: Cork cube became Cube"
    assert whole["differences"] == [
        {"key": "name", "before": "Cork cube", "after": "Cube", "says": says}
    ]
    assert (whole["before"], whole["after"]) == (CUBE, renamed)


def test_a_place_comes_and_goes() -> None:
    """The first change of a place adds it, the last removes it."""
    text = json.dumps(CUBE)

    assert summary(Kept(1, 0, "kim", "cork-cube", None, text))["says"] == "added cork-cube"
    assert summary(Kept(2, 0, "kim", "cork-cube", text, None))["says"] == "removed cork-cube"
    assert details(Kept(2, 0, "kim", "cork-cube", text, None))["after"] is None
