"""Figures of alarm management, by hand and beside numpy."""

import json
from dataclasses import dataclass, replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.analysis.alarm_performance import performance, wire
from monitor.quantities import Quantity
from monitor.setup.alarming import CHATTERING_MS, FLOOD_MS, STALE_MS
from monitor.setup.models import Zone
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339

START = parse_rfc3339("2026-11-02T00:00:00Z")
END = START + 7 * DAY_MS


@dataclass(frozen=True)
class Told:
    """An alarm as the figures see it: of one point, short and answered unless it says otherwise."""

    raised_at_ms: int
    point: str = "cork-cube.canopy.humidity.low"
    priority: str = "warning"
    called_at_ms: int | None = 0
    returned_at_ms: int | None = None
    withdrawn_at_ms: int | None = None
    acknowledged_at_ms: int | None = None


def at(hours: float) -> int:
    """Hours after the beginning."""
    return START + round(hours * HOUR_MS)


def test_no_alarm_is_a_good_week() -> None:
    """All figures are there, and all are nothing."""
    figures = performance([], START, END)

    assert (figures.alarms, figures.per_day, figures.peak_10_min, figures.standing) == (0, 0, 0, 0)
    assert (figures.peak_at_ms, figures.median_answer_s) == (None, None)
    assert (figures.top, figures.chattering, figures.flood_share) == ((), (), 0)


def test_rates_are_means_over_the_whole_time() -> None:
    """Fourteen alarms in a week are two a day; one in 10 min is the most there was."""
    figures = performance([Told(at(12 * n)) for n in range(14)], START, END)

    assert (figures.alarms, figures.per_day) == (14, 2.0)
    assert figures.per_10_min == pytest.approx(2 / 144)
    assert (figures.peak_10_min, figures.peak_at_ms) == (1, START)


def test_an_alarm_counts_where_it_was_raised() -> None:
    """The first moment is in, the last is out; what never called troubled nobody."""
    raised = [START - 1, START, END - 1, END]
    alarms = [Told(at_ms) for at_ms in raised]
    alarms += [replace(alarm, called_at_ms=None) for alarm in alarms]

    assert performance(alarms, START, END).alarms == 2


def test_a_flood_is_more_than_ten_in_ten_minutes() -> None:
    """Eleven within one period are one, ten are none; the rest of the week is calm."""
    eleven = [Told(at(5) + n * MINUTE_MS // 2) for n in range(11)]
    ten = [Told(at(9) + n * MINUTE_MS // 2) for n in range(10)]
    figures = performance([*eleven, *ten], START, END)

    assert figures.flood_share == pytest.approx(1 / (7 * 144))
    assert (figures.peak_10_min, figures.peak_at_ms) == (11, at(5))


def test_what_stands_and_what_is_stale() -> None:
    """As of the end: not what returned or was withdrawn, not what came after."""
    alarms = [
        Told(END - STALE_MS - 1),
        Told(END - STALE_MS),
        Told(START - DAY_MS),
        Told(START, returned_at_ms=END - 1),
        Told(START, withdrawn_at_ms=END - 1),
        Told(START, returned_at_ms=END),
        Told(END),
    ]
    figures = performance(alarms, START, END)

    assert (figures.standing, figures.stale) == (4, 3)


def test_chattering_and_fleeting() -> None:
    """Three in two hours chatter and are not called fleeting; one short one alone is."""
    short = 5 * MINUTE_MS
    rattle = [
        Told(at_ms, "a.b.silent", returned_at_ms=at_ms + short)
        for at_ms in (at(3), at(4), at(3) + CHATTERING_MS)
    ]
    slow = [Told(at_ms, "c.d.silent") for at_ms in (at(3), at(4), at(3) + CHATTERING_MS + 1)]
    once = [Told(at(6), "e.f.silent", returned_at_ms=at(6) + short)]
    long = [Told(at(7), "e.f.silent", returned_at_ms=at(7) + 2 * short)]
    figures = performance([*slow, *rattle, *once, *long], START, END)

    assert figures.chattering == ("a.b.silent",)
    assert figures.fleeting == 1


def test_the_top_ten_and_what_they_have_of_all() -> None:
    """Most first, equal ones by name; the eleventh is left out."""
    alarms = [Told(at(n), f"p{n:02}.x.silent") for n in range(11)]
    alarms += [Told(at(20 + n), "p07.x.silent") for n in range(9)]
    figures = performance(alarms, START, END)

    assert [(each.name, each.alarms, each.share) for each in figures.top[:2]] == [
        ("p07.x.silent", 10, 0.5),
        ("p00.x.silent", 1, 0.05),
    ]
    assert len(figures.top) == 10
    assert figures.top_share == pytest.approx(19 / 20)


def test_priorities_and_answers() -> None:
    """Shares of all, and how long a keeper took, the middle one of those who answered."""
    alarms = [
        Told(at(1), acknowledged_at_ms=at(1) + 60_000),
        Told(at(2), acknowledged_at_ms=at(2) + 180_000),
        Told(at(3), priority="critical", acknowledged_at_ms=at(3) + 30_000),
        Told(at(4)),
    ]
    figures = performance(alarms, START, END)

    assert [(each.name, each.alarms, each.share) for each in figures.priorities] == [
        ("warning", 3, 0.75),
        ("critical", 1, 0.25),
    ]
    assert (figures.median_answer_s, figures.unacknowledged) == (60.0, 1)


def test_an_empty_time_has_no_figures() -> None:
    """From must lie before until; both are named."""
    with pytest.raises(ValueError, match="between 2026-11-02T00:00:00Z and 2026-11-02T00:00:00Z"):
        performance([], START, START)


@given(st.lists(st.integers(0, 3 * DAY_MS - 1), min_size=1, max_size=200))
def test_periods_are_those_of_a_histogram(offsets: list[int]) -> None:
    """Peak and share of flooded periods, beside numpy.histogram over the same edges."""
    until = START + 3 * DAY_MS
    edges = np.arange(START, until + 1, FLOOD_MS)
    crowded = [START + offset // 50 for offset in offsets]
    counts, _ = np.histogram(crowded, edges)
    figures = performance([Told(at_ms) for at_ms in crowded], START, until)

    assert figures.peak_10_min == counts.max()
    assert figures.peak_at_ms == edges[counts.argmax()]
    assert figures.flood_share == pytest.approx((counts > 10).mean())


@given(st.lists(st.integers(0, 20), max_size=60), st.randoms())
def test_order_does_not_matter(hours: list[int], random: Random) -> None:
    """The store gives newest first, a rehearsal as it comes."""
    alarms = [Told(at(hour), f"p{hour}.x.silent") for hour in hours]
    shuffled = alarms.copy()
    random.shuffle(shuffled)

    assert performance(alarms, START, END) == performance(shuffled, START, END)


def test_the_desks_own_alarms_as_json() -> None:
    """The alarms that are stored can be measured as they are; times and shares are readable."""
    point = PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
    alarm = Alarm(
        f"{point}.1", point, Zone.CANOPY, Priority.WARNING, State.UNACKNOWLEDGED,
        at(5), at(6), 50.0, 60.0, 48.0, called_at_ms=at(6),
    )  # fmt: skip
    figures = wire(performance([alarm], START, START + 3 * DAY_MS))

    assert json.loads(json.dumps(figures)) == {
        "from": "2026-11-02T00:00:00Z",
        "until": "2026-11-05T00:00:00Z",
        "alarms": 1,
        "per_day": 0.33,
        "per_10_min": 0.0023,
        "peak_10_min": 1,
        "peak_at": "2026-11-02T06:00:00Z",
        "flood_share": 0.0,
        "standing": 1,
        "stale": 1,
        "chattering": [],
        "fleeting": 0,
        "top": [{"name": "cork-cube.canopy.humidity.low", "alarms": 1, "share": 1.0}],
        "top_share": 1.0,
        "priorities": [{"name": "warning", "alarms": 1, "share": 1.0}],
        "unacknowledged": 1,
        "median_answer_s": None,
    }
