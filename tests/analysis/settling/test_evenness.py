"""What a keeper is told of an even climate, and of what is still to come."""

import datetime as dt

import numpy as np
import pytest

from monitor.analysis.settling import Criterion, Result
from monitor.analysis.settling.build import Floats
from monitor.analysis.settling.climate import Daily
from monitor.analysis.settling.days import Days
from monitor.analysis.settling.evenness import evenness
from monitor.analysis.settling.stillness import still_to_come
from monitor.quantities import Quantity
from monitor.species.ranges import Zone
from monitor.species.settling import SettlingLimits
from tests.analysis.settling.plain import BUILT_ON, UTC

LIMITS = SettlingLimits()
RH = Quantity.HUMIDITY


def scatter(days: int, spread: float, seed: int = 3) -> Floats:
    """Independent days."""
    return spread * np.random.default_rng(seed).standard_normal(days)


def judged(value: Floats, room: Floats | None = None) -> Criterion:
    """The evenness of a humidity as of the day after its last."""
    days = len(value)
    beside = np.empty((0, days)) if room is None else room
    daily = Daily(value, np.zeros(days, dtype=np.int64), beside)
    return evenness(Zone.CANOPY, RH, daily, span(days), LIMITS)


def to_come(value: Floats) -> Criterion:
    """The same for what is still to come."""
    days = len(value)
    daily = Daily(value, np.zeros(days, dtype=np.int64), np.empty((0, days)))
    return still_to_come(Zone.CANOPY, daily, span(days), LIMITS)


def span(days: int) -> Days:
    """So many days from the one the build began with."""
    return Days.between(BUILT_ON, BUILT_ON + dt.timedelta(days=days - 1), UTC)


def on(day: int) -> dt.date:
    """A day of the build."""
    return BUILT_ON + dt.timedelta(days=day)


def test_too_few_days_have_a_date() -> None:
    """Ten days: eleven more to the first finding, two more to the third."""
    found = judged(70.0 + scatter(10, 0.3))

    assert (found.result, found.value, found.earliest) == (Result.UNKNOWN, None, on(23))
    assert "too few whole days yet; 21 are needed" in found.says
    assert to_come(70.0 + scatter(10, 0.3)).earliest == on(23)


@pytest.mark.parametrize(("days", "running"), [(21, 1), (22, 2), (23, 3), (30, 3)])
def test_it_must_be_found_on_three_days_running(days: int, running: int) -> None:
    """The first two findings leave it unknown, with the day of the third."""
    found = judged(70.0 + scatter(days, 0.2))

    assert found.result is (Result.PASS if running == 3 else Result.UNKNOWN)
    assert f"even, found on {running} day" in found.says
    assert found.earliest == (None if running == 3 else on(23))


def test_days_that_differ_much_ask_for_more_days() -> None:
    """It says how many, and when they will be there."""
    found = judged(70.0 + scatter(23, 1.7))

    assert found.result is Result.UNKNOWN
    assert "its days differ so much that 28 of them are needed to tell" in found.says
    assert found.earliest == on(30)


def test_a_clear_drift_is_told_with_its_date() -> None:
    """How fast, and when it could have died away."""
    found = judged(70.0 + 30.0 * np.exp(-np.arange(30) / 13.0) + scatter(30, 0.1))

    assert found.result is Result.FAIL
    assert found.relapsed
    assert found.value is not None
    assert found.value < -0.4
    assert "which is more than ±0.4" in found.says
    assert found.earliest is not None
    assert on(32) < found.earliest < on(60)


def test_the_date_of_a_drift_comes_about_true() -> None:
    """An approach is found even within a week of the day foretold."""
    course = 70.0 + 30.0 * np.exp(-np.arange(80) / 13.0) + scatter(80, 0.1)
    foretold = judged(course[:30]).earliest
    assert foretold is not None

    passed = next(day for day in range(30, 80) if judged(course[:day]).result is Result.PASS)

    assert abs((foretold - on(passed)).days) <= 7


def test_days_that_differ_far_too_much_have_no_date() -> None:
    """Waiting does not help; a probe in the room would."""
    found = judged(70.0 + scatter(60, 14.0))

    assert (found.result, found.earliest) == (Result.UNKNOWN, None)
    assert found.says.endswith("a probe in the room would tell its weather from the build.")


def test_a_drift_of_the_room_is_named_as_such() -> None:
    """The build itself is even; what it shares with the room is more than the limit."""
    days = np.arange(40)
    pressure = 1.1 + 0.03 * days + scatter(40, 0.1)
    room = np.array([20.0 + scatter(40, 0.5, seed=4), pressure])
    found = judged(70.0 + 25.0 * (pressure - 1.1) + scatter(40, 0.1, seed=5), room)

    assert found.result is Result.UNKNOWN
    assert abs(found.value or 9.0) < 0.4
    assert "moves with the room by +0." in found.says


def test_what_is_still_to_come_is_told_with_its_sign() -> None:
    """A humidity that falls towards its end value has a fall to come."""
    found = to_come(60.0 + 15.0 * np.exp(-np.arange(30) / 20.0) + scatter(30, 0.1))

    assert found.value == pytest.approx(-15.0 * np.exp(-29 / 20.0), abs=0.6)
    assert found.result is not Result.PASS
    assert "%RH still to come (very likely between -" in found.says
    assert "no more than 1.5 may be" in found.says
    # 3.5 of which 1.5 may be left, at a third in twenty days.
    assert found.earliest is not None
    assert on(44) <= found.earliest <= on(60)


def test_a_humidity_that_has_arrived_passes() -> None:
    """All but there, three days running."""
    found = to_come(60.0 + 15.0 * np.exp(-np.arange(40) / 6.0) + scatter(40, 0.2))

    assert (found.result, found.earliest) == (Result.PASS, None)
    assert "all but there, found on 3 days running" in found.says
