"""The log: readable by programs, and nobody can make it a flood."""

import json
import logging
import sys
import threading

import pytest

from monitor.cli.logs import MOST_KINDS, WITHIN_S, JsonLines, NoFlood


def line(says: str = "from %s", *args: object, trace: bool = False) -> logging.LogRecord:
    """Something to log."""
    info = sys.exc_info() if trace else None
    return logging.LogRecord("dewkeep.x", logging.WARNING, "x.py", 1, says, args, info)


def test_a_line_of_json_holds_it_all() -> None:
    """Whatever the text holds stays one line, and comes out as it went in."""
    text = JsonLines().format(line("from %s", 'a "b"\n{c} \N{SNOWMAN}'))

    assert "\n" not in text
    told = json.loads(text)
    assert told.pop("at").endswith("Z")
    assert told == {
        "level": "warning",
        "logger": "dewkeep.x",
        "says": 'from a "b"\n{c} \N{SNOWMAN}',
    }


def test_a_mistake_comes_with_its_trace() -> None:
    """As a field of the same line."""
    try:
        1 / 0  # noqa: B018 - for its trace
    except ZeroDivisionError:
        told = json.loads(JsonLines().format(line("bad", trace=True)))

    assert told["trace"].endswith("ZeroDivisionError: division by zero")


def test_a_flood_is_cut_and_told() -> None:
    """Of lines that are alike a few pass; a minute later it is said how many did not."""
    now = [100.0]
    gate = NoFlood(most=3, clock=lambda: now[0])
    passed = [gate.filter(line("from %s", n)) for n in range(10)]
    assert passed == [True] * 3 + [False] * 7
    assert gate.filter(line("another"))

    now[0] += WITHIN_S
    after = line("from %s", 11)
    assert gate.filter(after)
    assert after.getMessage() == "from 11 (and 7 more like it since last told)"
    quiet = line("from %s", 12)
    assert gate.filter(quiet)
    assert quiet.getMessage() == "from 12"


def test_the_gate_itself_stays_small() -> None:
    """However many kinds of lines there are."""
    gate = NoFlood()
    for n in range(3 * MOST_KINDS):
        gate.filter(line(f"kind {n}"))

    assert len(gate._seen) == MOST_KINDS


def test_threads_do_not_let_more_through() -> None:
    """The limit is one for all of them."""
    gate = NoFlood(most=50)
    passed: list[bool] = []

    def log() -> None:
        passed.extend([gate.filter(line()) for _ in range(200)])

    threads = [threading.Thread(target=log) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert passed.count(True) == 50


@pytest.mark.parametrize("text", ["100 % sure", "%d of %d", "{}"])
def test_signs_of_formatting_do_no_harm(text: str) -> None:
    """A text that looks like a template is written as it is."""
    assert JsonLines().format(line(text)).count(text) == 1
