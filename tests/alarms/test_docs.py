"""The page on alarms says what the code does."""

from pathlib import Path

import pytest

from monitor.alarms.model import Because, Condition, State
from monitor.alarms.states import TABLE, Event, Verdict
from monitor.analysis.alarm_performance import performance, wire
from monitor.setup.alarming import AlarmSettings

PAGE = (Path(__file__).parents[2] / "docs" / "alarms.md").read_text()
LETTERS = dict(zip("ABCDEFG", State, strict=True))


def rows(first_cell: str) -> list[list[str]]:
    """The table whose heading begins with a cell, heading first, without the line under it."""
    lines = PAGE[PAGE.index(f"\n| {first_cell} |") + 1 :].partition("\n\n")[0].splitlines()
    cells = [[cell.strip(" `") for cell in line.strip("|").split("|")] for line in lines]
    return [cells[0], *cells[2:]]


def test_the_table_of_states_is_that_of_the_code() -> None:
    """Every cell of the page stands in the table, and the other way round."""
    heading, *states = rows(" ")
    assert set(heading[1:]) == set(Event)
    told = {}
    for letter, *cells in states:
        if letter == "A, over":
            assert set(cells) == {"·"}
            continue
        for event, cell in zip(heading[1:], cells, strict=True):
            if cell != "·":
                following = Verdict.AS_IT_STANDS if " or " in cell else LETTERS[cell]
                told[LETTERS[letter[0]], Event(event)] = following

    assert told == TABLE


def test_the_letters_are_those_of_the_states() -> None:
    """Each letter stands for the state it has in the standard's order."""
    assert {letter: state for letter, state, _ in rows("letter")[1:]} == LETTERS


@pytest.mark.parametrize("key", AlarmSettings.model_fields)
def test_every_setting_is_told_with_its_default(key: str) -> None:
    """No setting is missing from the page, and its default is the true one."""
    told = {row[0]: row[1].split()[0] for row in rows("setting")[1:]}

    assert float(told[key]) == getattr(AlarmSettings(), key)


@pytest.mark.parametrize("condition", Condition)
def test_every_condition_is_told(condition: Condition) -> None:
    """A keeper finds each condition by its name."""
    assert f"`{condition.value}`" in PAGE


@pytest.mark.parametrize("because", Because)
def test_every_reason_for_quiet_is_told(because: Because) -> None:
    """A keeper finds each reason with what it covers and until when."""
    assert because.value in [row[0] for row in rows("because")[1:]]


def test_every_figure_is_told() -> None:
    """No figure of the API is without its meaning."""
    told = {name.strip(" `") for row in rows("figure")[1:] for name in row[0].split(",")}
    figures = wire(performance([], 0, 1))

    assert told == figures.keys() - {"from", "until", "alarms"}
