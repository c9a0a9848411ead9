"""Findings of the model told as a key and plain words."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import pytest
from pydantic import Field, SecretStr, model_validator

from monitor.documents.base import Date, Identifier, Model, TimeOfDay
from monitor.documents.problems import below, faults, hint, key_of
from monitor.documents.toml import parse
from monitor.errors import Problem, SettingsError


class Colour(StrEnum):
    """Three words to choose from."""

    GREEN = "green"
    OCHRE = "ochre"
    GREY = "grey"


class Lamp(Model):
    """One kind of a union."""

    kind: Literal["lamp"]
    watts: int = Field(ge=1, le=150)


class Mat(Model):
    """The other kind."""

    kind: Literal["mat"]
    celsius: float


class Shelf(Model):
    """A document with one of everything."""

    id: Identifier = "shelf"
    port: int = Field(default=1, ge=1, le=65_535)
    period_s: float = Field(default=1.0, gt=0, le=86_400)
    depth: float = Field(default=1.0, lt=9)
    level: float | None = Field(default=None, ge=0)
    tall: bool = False
    colour: Colour = Colour.GREEN
    since: Date | None = None
    lights_on: TimeOfDay | None = None
    heaters: tuple[Annotated[Lamp | Mat, Field(discriminator="kind")], ...] = ()
    plants: dict[Colour, int] = Field(default_factory=dict)
    where: Path | None = None
    password: SecretStr | None = None
    mixed: int | Colour = 1
    parts: tuple["Shelf", ...] = ()

    @model_validator(mode="after")
    def _no_grey_giant(self) -> Self:
        if self.tall and self.colour is Colour.GREY:
            raise faults([(("tall",), "no grey shelf is tall"), (("colour",), "is grey")])
        return self


def _told(document: dict[str, Any]) -> list[str]:
    with pytest.raises(SettingsError) as refusal:
        parse(Shelf, document, "shelf.toml")
    return [f"{problem.key}: {problem.says}" for problem in refusal.value.problems]


@pytest.mark.parametrize(
    ("document", "says"),
    [
        ({"port": "abc"}, "port: must be a whole number from 1 to 65535, not 'abc'"),
        ({"port": 70_000}, "port: must be a whole number from 1 to 65535, not 70000"),
        ({"port": 1.5}, "port: must be a whole number from 1 to 65535, not 1.5"),
        ({"period_s": 0}, "period_s: must be a number above 0 and at most 86400, not 0"),
        (
            {"period_s": float("nan")},
            "period_s: must be a number above 0 and at most 86400, not nan",
        ),
        ({"depth": 10}, "depth: must be a number below 9, not 10"),
        ({"level": -1}, "level: must be a number of at least 0, not -1"),
        ({"tall": "perhaps"}, "tall: must be true or false, not 'perhaps'"),
        ({"tall": [True]}, "tall: must be true or false, not a list"),
        (
            {"colour": "gren"},
            "colour: must be one of green, ochre, grey, not 'gren'; did you mean 'green'?",
        ),
        ({"colour": True}, "colour: must be one of green, ochre, grey, not true"),
        ({"since": 5}, "since: must be a date such as 2026-10-01, not 5"),
        ({"lights_on": 8}, 'lights_on: must be a time of day such as "08:00", not 8'),
        ({"where": 5}, "where: must be text, not 5"),
        ({"where": {"a": 1}}, "where: must be text, not a table"),
        ({"id": "x" * 80}, "id: must be an id of 1 to 64 letters"),
        ({"heaters": 5}, "heaters: must be a list, not 5"),
        ({"parts": [5]}, "parts[1]: must be a table of keys, not 5"),
        ({"prot": 5}, "prot: unknown key; did you mean 'port'?"),
        ({"parts": [{"id": "low", "prot": 5}]}, "parts[low].prot: unknown key; did you mean"),
        ({"plants": {"grren": 5}}, "plants.grren: must be one of green, ochre, grey, not 'grren'"),
        ({"plants": {"green": None}}, "plants.green: must be a whole number, not null"),
        ({"mixed": "grei"}, "mixed: must be a whole number or one of green, ochre, grey"),
        (
            {"lights_on": "08:00+01:00"},
            'lights_on: write the time on the wall clock, without an offset: "08:00"',
        ),
    ],
)
def test_a_wrong_value_is_told_with_what_would_be_right(
    document: dict[str, Any], says: str
) -> None:
    """Key, expectation and value, without a word of the validating library."""
    told = _told(document)

    assert len(told) == 1
    assert told[0].startswith(says)


@pytest.mark.parametrize(
    ("heater", "says"),
    [
        ({"kind": "fire"}, "heaters[1].kind: must be one of lamp, mat, not 'fire'"),
        ({"watts": 3}, "heaters[1].kind: is missing; write one of lamp, mat"),
        ({"kind": "lamp"}, "heaters[1].watts: is missing; write a whole number from 1 to 150"),
        (
            {"kind": "lamp", "watts": 500},
            "heaters[1].watts: must be a whole number from 1 to 150, not 500",
        ),
        (
            {"kind": "mat", "celsius": 3, "name": "warm", "watts": 3},
            "heaters[warm].watts: unknown key",
        ),
    ],
)
def test_a_table_told_apart_by_its_kind_is_judged_by_that_kind(
    heater: dict[str, Any], says: str
) -> None:
    """The kind itself is no step of the key, and chooses which keys there are."""
    assert any(line.startswith(says) for line in _told({"heaters": [heater]}))


def test_all_that_is_wrong_is_told_at_once() -> None:
    """A keeper mends a file in one go; the same thing is not told twice."""
    told = _told({"port": 0, "tall": 5, "mixed": "x", "parts": [{"level": "x"}, {"id": ""}]})

    assert [line.partition(":")[0] for line in told] == [
        "port",
        "tall",
        "mixed",
        "parts[1].level",
        "parts[2].id",
    ]


def test_what_a_model_finds_itself_keeps_its_place() -> None:
    """Mistakes between keys are told at the keys, not at the table."""
    told = _told({"parts": [{"id": "low", "tall": True, "colour": "grey"}]})

    assert told == ["parts[low].tall: no grey shelf is tall", "parts[low].colour: is grey"]


def test_a_secret_is_not_repeated() -> None:
    """Neither the problem nor the error shows what was written for a password."""
    with pytest.raises(SettingsError) as refusal:
        parse(Shelf, {"password": 271828}, "shelf.toml")

    assert refusal.value.problems == [Problem("shelf.toml", "password", "must be text")]
    assert "271828" not in str(refusal.value.__cause__)


def test_a_long_value_is_cut() -> None:
    """A value pasted by accident does not fill the screen."""
    (told,) = _told({"port": "9" * 200 + "x"})

    assert len(told) < 130
    assert told.endswith("...")


def test_tables_in_lists_go_by_id_name_species_or_number() -> None:
    """Lists count from 1, as people do."""
    document = {"a": [{"id": "x", "name": "y"}, {"name": "y"}, {"species": "z"}, {"id": 5}, 7]}

    assert [key_of(("a", n, "k"), document) for n in range(6)] == [
        "a[x].k",
        "a[y].k",
        "a[z].k",
        "a[4].k",
        "a[5].k",
        "a[6].k",
    ]


def test_below_finds_nothing_where_nothing_is() -> None:
    """A step that leads nowhere gives None, whatever stands there."""
    assert below({"a": 1}, "a") == 1
    assert below([1, 2], 1) == 2
    assert below({"a": 1}, "b") is None
    assert below([1, 2], 2) is None
    assert below([1, 2], "a") is None
    assert below("text", 0) is None


def test_a_hint_is_the_likeliest_word_or_a_short_list() -> None:
    """Close words are suggested; else few are listed and many are not."""
    assert hint("canpy", ["canopy", "floor"]) == "; did you mean 'canopy'?"
    assert hint("xyz", ["floor", "canopy"]) == "; there is canopy, floor"
    assert hint("xyz", []) == ""
    assert hint("xyz", [f"word{n}" for n in range(30)]) == ""
