"""Delays and deadbands of one limit: tables, a ramp, and a model that reads all history anew."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms.detection import Columns, Kind, Phase, PointMemory, Signal, advance, walk
from monitor.alarms.model import Condition, PointKey, Priority
from monitor.alarms.rules import ByLight, Limit
from monitor.quantities import Quantity
from monitor.setup.models import Zone
from monitor.times import HOUR_MS, MINUTE_MS


def limit(
    level: float = 60.0,
    deadband: float = 2.0,
    on_delay_min: float = 20,
    off_delay_min: float = 5,
    upper: bool = False,
    gap_min: float = 20,
) -> Limit:
    """A limit of humidity, the same by day and night."""
    clear = level - deadband if upper else level + deadband
    return Limit(
        point=PointKey(
            "cork-cube", "canopy", Quantity.HUMIDITY, Condition.HIGH if upper else Condition.LOW
        ),
        zone=Zone.CANOPY,
        priority=Priority.WARNING,
        upper=upper,
        level=ByLight(level, level),
        clear=ByLight(clear, clear),
        on_delay_ms=round(on_delay_min * MINUTE_MS),
        off_delay_ms=round(off_delay_min * MINUTE_MS),
        gap_ms=round(gap_min * MINUTE_MS),
    )


def follow(
    of: Limit, readings: Sequence[tuple[int, float]], day: bool = True
) -> tuple[list[Signal], PointMemory | None]:
    """Lead one point through readings, one by one."""
    memory: PointMemory | None = None
    previous_ms = -(10**15)
    signals = []
    for at_ms, value in readings:
        memory, signal = advance(of, memory, at_ms, value, day, previous_ms)
        previous_ms = at_ms
        if signal is not None:
            signals.append(signal)
    return signals, memory


def told(of: Limit, minutes_and_values: Sequence[tuple[float, float]]) -> list[tuple[str, float]]:
    """Raisings and returns, by the minute."""
    signals, _ = follow(of, [(round(at * MINUTE_MS), value) for at, value in minutes_and_values])
    return [
        (signal.kind.name.lower(), signal.at_ms / MINUTE_MS)
        for signal in signals
        if signal.kind is not Kind.WORSE
    ]


# Minutes and values against a low limit of 60, deadband 2, on-delay 20 min, off-delay 5 min.
STORIES: dict[str, tuple[list[tuple[float, float]], list[tuple[str, float]]]] = {
    "on the limit is not beyond it": ([(0, 60), (30, 60)], []),
    "raised when the on-delay has run out": ([(0, 59), (10, 59), (20, 59)], [("raised", 20)]),
    "not before": ([(0, 59), (19.99, 59)], []),
    "leaving the alarm region starts the delay anew": (
        [(0, 59), (10, 60), (11, 59), (30, 59), (31, 59)],
        [("raised", 31)],
    ),
    "back within the deadband is not back": (
        [(0, 59), (20, 59), (30, 61.9), (60, 61.9)],
        [("raised", 20)],
    ),
    "clear for the off-delay is over": (
        [(0, 59), (20, 59), (30, 62), (34, 62), (35, 62)],
        [("raised", 20), ("returned", 35)],
    ),
    "a dip while clearing starts the off-delay anew": (
        [(0, 59), (20, 59), (30, 62), (34, 61), (35, 62), (39, 62), (40, 62)],
        [("raised", 20), ("returned", 40)],
    ),
    "it can come back": (
        [(0, 59), (20, 59), (30, 70), (35, 70), (36, 50), (56, 50)],
        [("raised", 20), ("returned", 35), ("raised", 56)],
    ),
}


@pytest.mark.parametrize("story", STORIES)
def test_delays_and_deadband(story: str) -> None:
    """A limit behaves as each story's name says."""
    readings, expected = STORIES[story]

    assert told(limit(), readings) == expected


@pytest.mark.parametrize("story", STORIES)
def test_high_mirrors_low(story: str) -> None:
    """A high limit is a low limit upside down."""
    readings, expected = STORIES[story]
    mirrored = [(at, 120 - value) for at, value in readings]

    assert told(limit(upper=True), mirrored) == expected


def test_without_delays_one_reading_raises_and_one_clears() -> None:
    """Delays of zero act on the reading itself."""
    assert told(limit(on_delay_min=0, off_delay_min=0), [(0, 59), (1, 70), (2, 59)]) == [
        ("raised", 0),
        ("returned", 1),
        ("raised", 2),
    ]


def test_a_pause_does_not_stop_the_delay_but_dates_the_alarm() -> None:
    """Beyond before and after a long pause is an alarm, dated from what was seen after it."""
    signals, _ = follow(limit(), [(0, 50.0), (3 * HOUR_MS, 55.0)])

    assert [(s.kind, s.at_ms, s.since_ms) for s in signals] == [
        (Kind.RAISED, 3 * HOUR_MS, 3 * HOUR_MS)
    ]


def test_a_probe_that_rarely_comes_through_still_raises() -> None:
    """With every pause longer than the delay the second dry reading raises: none is lost."""
    assert told(limit(gap_min=20), [(0, 70), (25, 50), (50, 50), (75, 50)]) == [("raised", 50)]


def test_an_ordinary_period_is_no_pause() -> None:
    """A probe whose period exceeds the on-delay dates its alarm from the first reading beyond."""
    signals, _ = follow(limit(on_delay_min=3, gap_min=15), [(0, 50.0), (5 * MINUTE_MS, 50.0)])

    assert [(s.at_ms, s.since_ms) for s in signals] == [(5 * MINUTE_MS, 0)]


def test_the_extreme_is_the_worst_since_the_condition_began() -> None:
    """The dip before the raising counts; what is no longer beyond the limit does not."""
    readings = [(0, 55.0), (5, 48.0), (20, 52.0), (21, 44.0), (22, 61.0), (23, 70.0), (28, 70.0)]
    signals, memory = follow(limit(), [(at * MINUTE_MS, value) for at, value in readings])

    assert [(s.kind, s.value, s.extreme) for s in signals] == [
        (Kind.RAISED, 52.0, 48.0),
        (Kind.WORSE, 44.0, 44.0),
        (Kind.RETURNED, 70.0, 44.0),
    ]
    assert memory is None


def test_limits_follow_the_lights_at_each_readings_own_time() -> None:
    """65 % is too low by night and fine by day: the day clears what the night raised."""
    by_light = Limit(
        **{
            name: getattr(limit(on_delay_min=0, off_delay_min=0), name)
            for name in Limit.__dataclass_fields__
            if name not in ("level", "clear")
        },
        level=ByLight(night=70.0, day=60.0),
        clear=ByLight(night=72.0, day=62.0),
    )

    memory, raised = advance(by_light, None, 0, 65.0, False, -1)
    assert raised is not None
    assert raised.level == 70.0
    _, returned = advance(by_light, memory, 1, 65.0, True, 0)
    assert returned is not None
    assert returned.kind is Kind.RETURNED


@given(
    slope=st.floats(0.05, 3.0),
    start=st.floats(61.0, 90.0),
    period_s=st.integers(1, 300),
    periods=st.integers(0, 40),
    extra_s=st.integers(0, 299),
)
def test_a_ramp_is_raised_when_arithmetic_says(
    slope: float, start: float, period_s: int, periods: int, extra_s: int
) -> None:
    """Humidity that falls in a straight line is raised at its crossing plus the on-delay.

    Analytic: start - slope t = 60 gives the crossing. One period to notice it, and another only if
    the delay is no whole number of periods.
    """
    delay_s = periods * period_s + extra_s % period_s
    crossing_ms = (start - 60) / slope * MINUTE_MS
    horizon_ms = crossing_ms + 1000 * (delay_s + 3 * period_s)
    times = range(0, round(horizon_ms) + 1, 1000 * period_s)
    readings = [(at, start - slope * at / MINUTE_MS) for at in times]

    signals, _ = follow(limit(on_delay_min=delay_s / 60, gap_min=600), readings)

    (raised,) = [signal for signal in signals if signal.kind is Kind.RAISED]
    slack_ms = 1000 * period_s * (1 if delay_s % period_s == 0 else 2)
    assert -1e-3 <= raised.at_ms - (crossing_ms + 1000 * delay_s) <= slack_ms + 1e-3
    assert 0 < raised.since_ms - crossing_ms + 1e-3 <= 1000 * period_s + 2e-3


def by_history(
    of: Limit, readings: Sequence[tuple[int, float]]
) -> list[tuple[str, int, int, float]]:
    """The same rules without any memory: at every reading all readings so far are read anew."""
    events: list[tuple[str, int, int, float]] = []
    last_event = 0
    for n, (at_ms, _) in enumerate(readings):
        standing = bool(events) and events[-1][0] == "raised"
        run = []
        for earlier in reversed(readings[last_event : n + 1]):
            beyond = earlier[1] < of.level.day
            clear = earlier[1] >= of.clear.day
            if not (clear if standing else beyond):
                break
            run.append(earlier)
        if not run or at_ms - run[-1][0] < (of.off_delay_ms if standing else of.on_delay_ms):
            continue
        if standing:
            events.append(("returned", at_ms, at_ms, 0.0))
        else:
            paused = n > 0 and at_ms - readings[n - 1][0] > of.gap_ms
            since_ms = at_ms if paused else run[-1][0]
            events.append(("raised", at_ms, since_ms, min(value for _, value in run)))
        last_event = n + (0 if not standing else 1)
    return events


READINGS = st.lists(
    st.tuples(
        st.sampled_from([1, 2, 3, 30]), st.sampled_from([50.0, 58.0, 59.9, 60.0, 61.9, 62.0, 70.0])
    ),
    max_size=60,
)


@given(steps=READINGS, on_delay=st.integers(0, 6), off_delay=st.integers(0, 6))
def test_agrees_with_a_model_that_reads_all_history_anew(
    steps: list[tuple[int, float]], on_delay: int, off_delay: int
) -> None:
    """Any readings, with and without pauses, give the raisings and returns of the plain rules."""
    of = limit(on_delay_min=on_delay, off_delay_min=off_delay, gap_min=max(10, on_delay))
    at_ms, readings = 0, []
    for minutes, value in steps:
        at_ms += minutes * MINUTE_MS
        readings.append((at_ms, value))

    signals, _ = follow(of, readings)

    assert [
        (s.kind.name.lower(), s.at_ms, s.since_ms, s.extreme if s.kind is Kind.RAISED else 0.0)
        for s in signals
        if s.kind is not Kind.WORSE
    ] == by_history(of, readings)


@given(steps=READINGS, start=st.integers(0, 10))
def test_a_walk_is_its_steps(steps: list[tuple[int, float]], start: int) -> None:
    """Leaping over quiet readings changes nothing, wherever the walk begins."""
    limits = [limit(), limit(level=59.0, on_delay_min=3), limit(level=65.0, upper=True)]
    readings = []
    at_ms = 0
    for minutes, value in steps:
        at_ms += minutes * MINUTE_MS
        readings.append((at_ms, value))
    start = min(start, len(readings))
    columns = Columns(
        [at for at, _ in readings],
        [value for _, value in readings],
        [True] * len(readings),
        [n for n, (_, value) in enumerate(readings) if value < 60.0 or value > 65.0],
    )
    memories: list[PointMemory | None] = [None] * 3

    signals = walk(limits, memories, columns, start, len(readings), -(10**15))

    one_by_one = [follow(of, readings[start:]) for of in limits]
    assert memories == [memory for _, memory in one_by_one]
    for n, of in enumerate(limits):
        assert [s for _, s in signals if s.limit is of] == one_by_one[n][0]
    assert all(columns.at_ms[index] == signal.at_ms for index, signal in signals)


def test_memory_says_how_far_things_have_come() -> None:
    """Each phase is remembered with the time it began."""
    readings = [(0, 59.0), (20, 58.0), (21, 70.0), (22, 61.0)]
    seen = [
        follow(limit(), [(at * MINUTE_MS, value) for at, value in readings[: n + 1]])[1]
        for n in range(len(readings))
    ]

    assert seen == [
        PointMemory(Phase.PENDING, 0, 59.0),
        PointMemory(Phase.STANDING, 20 * MINUTE_MS, 58.0),
        PointMemory(Phase.CLEARING, 21 * MINUTE_MS, 58.0),
        PointMemory(Phase.STANDING, 22 * MINUTE_MS, 58.0),
    ]
