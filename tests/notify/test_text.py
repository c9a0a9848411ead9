"""A notice in plain words."""

import json
from typing import Any

import pytest

from monitor.notify.text import Text, text_of
from monitor.store.rows import Notice
from tests.notify.notices import DRY, notice

SAYS = DRY["says"]


@pytest.mark.parametrize(
    ("changes", "title"),
    [
        ({}, "Cork cube"),
        ({"priority": "critical"}, "Critical - Cork cube"),
        ({"event": "returned", "priority": "critical"}, "Over - Cork cube"),
        ({"event": "recalled"}, "Still so - Cork cube"),
        ({"event": "escalated"}, "Not acknowledged - Cork cube"),
        ({"event": "summary", "enclosure_name": None}, "dewkeep"),
        (
            {"event": "summary", "enclosure_name": None, "priority": "critical"},
            "Critical - dewkeep",
        ),
    ],
)
def test_the_title_says_where_and_how_urgent(changes: dict[str, Any], title: str) -> None:
    """What a half-asleep keeper reads first."""
    assert text_of(notice(**changes)) == Text(title, SAYS, ())


def test_the_reason_follows_what_is_the_matter() -> None:
    """Where a cause is known it is said with it."""
    cause = {"kind": "drying", "says": "The air is losing water."}

    assert text_of(notice(cause=cause)).says == f"{SAYS} The air is losing water."
    assert text_of(notice(cause={"kind": "drying"})).says == SAYS


def test_what_else_there_is_comes_after() -> None:
    """Why it is told now, and how to acknowledge."""
    text = text_of(
        notice(
            event="escalated",
            escalated_from="phone",
            unacknowledged_min=12,
            acknowledge_url="https://dewkeep.example/acknowledge/a/1.2.3",
        )
    )

    assert text.more == (
        "Nobody acknowledged it within 12 min of telling phone.",
        "Acknowledge: https://dewkeep.example/acknowledge/a/1.2.3",
    )


def test_no_part_breaks_a_line() -> None:
    """A name that a keeper gave an enclosure cannot add headers or lines."""
    text = text_of(notice(enclosure_name="Cork\r\nBcc: x\u2028y", says="a\nb"))

    assert text == Text("Cork Bcc: x y", "a b", ())


def test_a_report_is_told_line_by_line() -> None:
    """The morning report on a phone: how many need a hand, then who and why."""
    report = Notice(
        "phone",
        "morning/2026-11-25",
        "morning",
        json.dumps(
            {
                "event": "morning",
                "says": "1 of 2 needs a hand.",
                "text": "The night. 1 of 2 needs a hand.\n\nNEEDS A HAND\nCube: It is dry.",
                "enclosures": [],
            }
        ),
    )

    assert text_of(report) == Text(
        "Morning report", "1 of 2 needs a hand.", ("NEEDS A HAND", "Cube: It is dry.")
    )
