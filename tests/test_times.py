"""Times in words."""

import datetime as dt

import pytest

from monitor.times import day_in_words, duration


@pytest.mark.parametrize(
    ("minutes", "says"),
    [
        (0, "0 min"),
        (0.6, "1 min"),
        (59.4, "59 min"),
        (60, "1 h"),
        (127, "2 h 7 min"),
        (1500, "25 h"),
    ],
)
def test_a_duration_is_told_to_the_minute(minutes: float, says: str) -> None:
    """Hours and minutes, without those there are none of."""
    assert duration(round(minutes * 60_000)) == says


def test_a_day_in_words() -> None:
    """Day and month, in English whatever the machine speaks."""
    assert day_in_words(dt.date(2026, 11, 5)) == "5 Nov"
