"""What keeps alarms quiet: whom it covers, how long it lasts, what the reports of a switch mean."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.model import Alarm, Because, Condition, PointKey, Priority, State
from monitor.alarms.suppression import SCOPES, Suppression, held_by, key_of, switched
from monitor.quantities import Quantity
from monitor.setup.models import Zone

HUMID, WARM = Quantity.HUMIDITY, Quantity.TEMPERATURE
HOT, SOIL = Quantity.SURFACE_TEMPERATURE, Quantity.SUBSTRATE_MOISTURE
LOW, HIGH, SILENT = Condition.LOW, Condition.HIGH, Condition.SILENT

# Written out by hand from docs/alarms.md.
COVERED: dict[Because, set[tuple[Quantity | None, Condition]]] = {
    Because.MAINTENANCE: {
        *(
            (quantity, condition)
            for quantity in (HUMID, WARM, HOT, SOIL)
            for condition in (LOW, HIGH)
        ),
        (None, SILENT),
    },
    Because.LID_OPEN: {(quantity, side) for quantity in (HUMID, WARM, HOT) for side in (LOW, HIGH)},
    Because.MISTING: {(HUMID, HIGH)},
}
POINTS = [
    (quantity, condition)
    for quantity in (HUMID, WARM, HOT, SOIL, None)
    for condition in Condition
    if (quantity is None) is (condition in (SILENT, Condition.BROKER))
]


def alarm_at(quantity: Quantity | None, condition: Condition, raised_at_ms: int = 0) -> Alarm:
    """An alarm of the canopy."""
    point = PointKey("cork-cube", "canopy", quantity, condition)
    return Alarm(
        f"{point}.{raised_at_ms}", point, Zone.CANOPY, Priority.WARNING, State.NORMAL,
        0, raised_at_ms, None, None, None,
    )  # fmt: skip


@pytest.mark.parametrize(("quantity", "condition"), POINTS)
@pytest.mark.parametrize("because", COVERED)
def test_each_reason_covers_what_it_can_explain_and_no_more(
    because: Because, quantity: Quantity | None, condition: Condition
) -> None:
    """Above all no critical alarm, and never the broker."""
    point = PointKey("cork-cube", "canopy", quantity, condition)

    assert SCOPES[because](point) is ((quantity, condition) in COVERED[because])


def test_what_a_keeper_says_covers_alarms_that_stand_already() -> None:
    """It holds on the daemon's clock, until its end, whenever the alarm was raised."""
    work = Suppression("cork-cube", Because.MAINTENANCE, 100, 200, "ada")

    for raised_at_ms in (0, 150):
        alarm = alarm_at(HUMID, LOW, raised_at_ms)
        assert work.covers(alarm, at_ms=0, now_ms=199)
        assert not work.covers(alarm, at_ms=0, now_ms=200)


@pytest.mark.parametrize(
    ("raised_at_ms", "at_ms", "covered"),
    [(99, 150, False), (100, 100, False), (101, 101, True), (199, 199, True), (150, 200, False)],
)
def test_what_a_switch_reports_excuses_only_what_came_after(
    raised_at_ms: int, at_ms: int, covered: bool
) -> None:
    """A misting cannot be the cause of what was there before it; its times are the readings'."""
    mist = Suppression("cork-cube", Because.MISTING, 100, 200, reported_ms=100, on=True)

    assert mist.covers(alarm_at(HUMID, HIGH, raised_at_ms), at_ms, now_ms=9000) is covered


def test_a_probe_out_of_service_is_so_without_end() -> None:
    """Nothing of it counts, critical limits included, and time alone changes nothing."""
    gone = Suppression("cork-cube", Because.OUT_OF_SERVICE, 0, None, "ada", "drifts", "canopy")

    assert all(gone.covers(alarm_at(*point), 10**15, 10**15) for point in POINTS)
    assert not gone.over(10**15, 0)


def test_the_reason_that_weighs_most_is_named() -> None:
    """Out of service before maintenance, before an open lid; each of its own place and probe."""
    alarm = alarm_at(HUMID, HIGH, 5)
    every = [
        Suppression("cork-cube", Because.OUT_OF_SERVICE, 0, None, "ada", probe="canopy"),
        Suppression("cork-cube", Because.MAINTENANCE, 0, 100, "ada"),
        Suppression("cork-cube", Because.LID_OPEN, 0, 100, "ada"),
        Suppression("cork-cube", Because.LID_OPEN, 0, 100, reported_ms=0),
        Suppression("cork-cube", Because.MISTING, 0, 100, reported_ms=0),
    ]
    in_force = {each.key: each for each in reversed(every)}
    assert len(in_force) == len(every)
    for each in every:
        assert held_by(in_force, alarm, 5, 5) == each
        del in_force[each.key]
    assert held_by(in_force, alarm, 5, 5) is None

    elsewhere = [replace(each, place="moss-box") for each in every]
    elsewhere.append(replace(every[0], probe="floor"))
    assert held_by({each.key: each for each in elsewhere}, alarm, 5, 5) is None


# --- switches ----------------------------------------------------------------------------------

SETTLE = 60
Reports = list[tuple[int, bool]]

# Reports of (minute, on or off) and the window of (since, until) they leave.
HISTORIES: list[tuple[str, Reports, tuple[int, int] | None]] = [
    ("on", [(0, True)], (0, 60)),
    ("a misting", [(0, True), (1, False)], (0, 61)),
    ("an off of nothing", [(5, False)], None),
    ("on, said again and again", [(0, True), (20, True), (40, True), (59, True)], (0, 60)),
    ("stuck for hours", [(0, True), (50, True), (100, True), (150, True)], (0, 60)),
    ("stuck, then off", [(0, True), (50, True), (100, True), (110, False)], (0, 60)),
    ("off, said again", [(0, True), (1, False), (30, False)], (0, 61)),
    ("two mistings", [(0, True), (1, False), (30, True), (31, False)], (0, 91)),
    ("so many that it is no excuse",
     [(0, True), (1, False), (50, True), (51, False), (100, True), (101, False)], (0, 120)),
    ("a new one after the old", [(0, True), (1, False), (61, True)], (61, 121)),
    ("an off that got lost", [(0, True), (300, True)], (300, 360)),
    ("a report that came twice", [(0, True), (1, False), (0, True), (1, False)], (0, 61)),
    ("a late report", [(10, True), (20, False), (15, True)], (10, 80)),
]  # fmt: skip


def window(reports: Reports) -> Suppression | None:
    """What reports leave."""
    found = None
    for at, on in reports:
        found = switched(found, "cork-cube", Because.MISTING, at, on=on, settle_ms=SETTLE)
    return found


@pytest.mark.parametrize(
    ("reports", "expected"), [each[1:] for each in HISTORIES], ids=[each[0] for each in HISTORIES]
)
def test_reports_of_a_switch(reports: Reports, expected: tuple[int, int] | None) -> None:
    """From on until the settling after off; a stuck mister is excused no longer than that."""
    found = window(reports)

    assert (None if found is None else (found.since_ms, found.until_ms)) == expected
    if found is not None:
        assert found.key == key_of("cork-cube", Because.MISTING, switch=True)


@given(
    st.lists(st.tuples(st.integers(1, 80), st.booleans()), min_size=1, max_size=30),
    st.integers(0, 100),
)
def test_no_history_excuses_for_long(steps: list[tuple[int, bool]], late: int) -> None:
    """A window begins with an on, is at most two settling times long, and ends after an off."""
    at, reports = 0, []
    for minutes, on in steps:
        at += minutes
        reports.append((at, on))
    found = window(reports)
    if found is None:
        assert not any(on for _, on in reports)
        return
    assert found.until_ms is not None
    assert (found.since_ms, True) in reports
    assert SETTLE <= found.until_ms - found.since_ms <= 2 * SETTLE
    begins = [at for at, on in reports if on]
    ends = [at for at, on in reports if not on]
    assert found.until_ms <= max([*begins, *ends]) + SETTLE
    # Whatever was reported before the last one comes again: it changes nothing.
    again = switched(
        found, "cork-cube", Because.MISTING, reports[-1][0] - late, on=True, settle_ms=SETTLE
    )
    assert again == found


@pytest.mark.parametrize(("on", "over_at"), [(False, 60), (True, 101)])
def test_a_switch_that_is_still_on_is_remembered(on: bool, over_at: int) -> None:
    """Else its next report would look like a new beginning; once off, the end is the end."""
    found = Suppression("cork-cube", Because.MISTING, 0, 60, reported_ms=40, on=on)

    assert not found.over(over_at - 1, SETTLE)
    assert found.over(over_at, SETTLE)
