"""The whole assessment: what it finds where it can, and what it says where it cannot."""

import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.misting import (
    Assessment,
    Climate,
    Goal,
    Reported,
    Sign,
    Source,
    Span,
    assess,
)
from monitor.times import HOUR_MS, MINUTE_MS
from tests.analysis.misting.plain import LIGHTS, Air, Story, story

GOAL = Goal(Span(50.0, 85.0), Span(50.0, 90.0), dry_below=65.0, dry_hours=4.0)
DAYS = 8


@pytest.fixture(scope="module")
def told() -> Story:
    """Eight days, six mistings a day."""
    return story(DAYS)


@pytest.fixture(scope="module")
def found(told: Story) -> Assessment:
    """What is said of them with every second misting logged."""
    return assess(told.climate, None, told.reported(2), LIGHTS, told.end_ms, GOAL)


def judged(climate: Climate, reported: list[Reported], end_ms: int) -> Assessment:
    """An assessment without a goal."""
    return assess(climate, None, reported, LIGHTS, end_ms)


def test_the_rate_is_found_with_an_interval_that_holds_it(found: Assessment) -> None:
    """1.5 per hour by day and by night, known to a tenth or better."""
    for rate in (found.day, found.night):
        assert rate is not None
        assert rate.low <= 1.5 <= rate.high
        assert rate.half_width < 0.1


def test_the_asymptote_and_the_water_are_found(found: Assessment) -> None:
    """11 g/m3 and 0.4 g/m3 a second."""
    assert found.asymptote is not None
    assert abs(found.asymptote.value - 11.0) < 0.5
    assert found.water is not None
    assert found.water.per_s == pytest.approx(0.4, rel=0.05)
    assert found.water.low <= 0.4 <= found.water.high


def test_all_mistings_are_listed(found: Assessment, told: Story) -> None:
    """The logged half as logged, the other half out of the air."""
    assert len(found.mistings) == len(told.misted_ms)
    sources = [each.source for each in found.mistings]
    assert sources.count(Source.AIR) == len(told.misted_ms) // 2


def test_the_last_days_are_foretold_better_than_by_the_usual_day(found: Assessment) -> None:
    """Two days held out: the balance knows the mistings, the mean course of a day does not."""
    assert found.backtest is not None
    assert found.backtest.days == 2.0
    assert found.backtest.rh_mae < 2.5
    assert found.backtest.rh_mae < found.backtest.rh_mae_by_hour_mean


def test_at_least_three_plans_are_offered(found: Assessment) -> None:
    """Different ones that keep the goal, each with figures and a reason; the first costs least."""
    assert found.plan_cannot is None
    assert found.plan is not None
    proposals = found.plan.proposals
    assert len(proposals) >= 3
    assert len({each.schedule for each in proposals}) == len(proposals)
    for each in proposals:
        assert each.predicted.promised >= GOAL.share
        assert each.predicted.promised <= each.predicted.time_in_range
        assert each.predicted.dry_days >= 0.8
        assert "confidence" in each.why


def test_the_same_question_gets_the_same_answer(told: Story, found: Assessment) -> None:
    """Draws are seeded."""
    again = assess(told.climate, None, told.reported(2), LIGHTS, told.end_ms, GOAL)

    assert again.day == found.day
    assert again.plan is not None
    assert found.plan is not None
    assert [p.schedule for p in again.plan.proposals] == [p.schedule for p in found.plan.proposals]


def test_what_comes_later_is_not_looked_at(told: Story) -> None:
    """As of the fourth day, four days are all there is."""
    cut = told.climate.at_ms[0] + 4 * 24 * HOUR_MS
    early = judged(told.climate, told.reported(), int(cut))
    alone = judged(told.climate.between(0, int(cut)), told.reported(), int(cut))

    assert early.day == alone.day
    assert max(each.at_ms for each in early.mistings) < cut


Spoil = Callable[[Story], tuple[Climate, list[Reported]]]


def _humidity(told: Story, humidity: np.ndarray) -> Climate:
    return Climate(told.climate.at_ms, told.climate.temperature, humidity)


def _nothing(told: Story) -> tuple[Climate, list[Reported]]:
    return Climate.empty(), told.reported()


def _two_days(told: Story) -> tuple[Climate, list[Reported]]:
    return told.climate.between(told.end_ms - 48 * HOUR_MS, told.end_ms), told.reported()


def _never(_told: Story) -> tuple[Climate, list[Reported]]:
    return story(DAYS, Air(misted_h=())).climate, []


def _once(_told: Story) -> tuple[Climate, list[Reported]]:
    dry = story(DAYS, Air(misted_h=()))
    return dry.climate, [Reported(int(dry.climate.at_ms[5000]), 10.0, Source.JOURNAL)]


def _stuck(told: Story) -> tuple[Climate, list[Reported]]:
    humidity = told.climate.humidity.copy()
    humidity[len(humidity) // 3 :] = 71.3
    return _humidity(told, humidity), told.reported()


def _pinned(told: Story) -> tuple[Climate, list[Reported]]:
    return _humidity(told, np.full(len(told.climate), 99.9)), told.reported()


def _saturated(told: Story) -> tuple[Climate, list[Reported]]:
    humidity = 97.6 + 0.02 * (told.climate.humidity - told.climate.humidity.mean())
    return _humidity(told, humidity), told.reported()


def _shifted(told: Story) -> tuple[Climate, list[Reported]]:
    late = [each._replace(at_ms=each.at_ms + 2 * HOUR_MS) for each in told.reported()]
    return told.climate, late


def _holes(told: Story) -> tuple[Climate, list[Reported]]:
    since = told.climate.at_ms[:, None] - np.array(told.misted_ms)
    after = ((since > -5 * MINUTE_MS) & (since < 150 * MINUTE_MS)).any(axis=1)
    kept = ~after
    part = Climate(
        told.climate.at_ms[kept], told.climate.temperature[kept], told.climate.humidity[kept]
    )
    return part, told.reported()


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (_nothing, "there are no readings"),
        (_two_days, "2.0 days of readings in the last .*; it takes 3"),
        (_never, "no misting was reported, and none shows in the air"),
        (_once, "only [01] of 1 mistings were followed .* it takes 6"),
        (_stuck, "exactly 71.3 %RH in .* it is stuck"),
        (_pinned, "99 %RH or more 100% of the time: it is wet or stuck"),
        (_saturated, "the air is saturated, or just misted, .* mist less"),
        (_shifted, "reported about 120 min late against .* a clock is off"),
        (_holes, "only 0 of 48 mistings were followed by half an hour of readings"),
    ],
)
def test_what_cannot_be_assessed_says_why(told: Story, spoil: Spoil, says: str) -> None:
    """A reason with figures and what to do, and nothing made up: no rate, no plan, no model."""
    climate, reported = spoil(told)

    found = assess(climate, None, reported, LIGHTS, told.end_ms, GOAL)

    assert found.cannot is not None
    assert re.search(says, found.cannot), found.cannot
    assert (found.day, found.night, found.water, found.plan, found.model) == (None,) * 5


def test_without_seconds_there_is_a_rate_but_no_plan(told: Story) -> None:
    """How the air dries shows without a log; what a second of misting brings does not."""
    found = assess(told.climate, None, [], LIGHTS, told.end_ms, GOAL)

    assert found.cannot is None
    assert found.day is not None
    assert found.day.low <= 1.5 <= found.day.high
    assert found.water is None
    assert found.plan is None
    assert found.plan_cannot is not None
    assert found.plan_cannot.startswith("how long the mister runs is not known")


def test_without_a_range_there_is_no_plan(told: Story) -> None:
    """Nobody said what the air should be."""
    found = judged(told.climate, told.reported(), told.end_ms)

    assert found.plan is None
    assert found.plan_cannot is not None
    assert found.plan_cannot.startswith("no humidity range is known")


def test_doses_too_small_to_tell_spoil_the_rate() -> None:
    """0.5 g/m3 a misting: the rate is withheld, and the keeper told to mist longer for a while."""
    faint = story(DAYS, replace(Air(), dose=0.5))

    found = judged(faint.climate, faint.reported(), faint.end_ms)

    assert Sign.SMALL_DOSES in {doubt.sign for doubt in found.doubts}
    assert (found.day, found.night) == (None, None)


def test_misting_by_day_only_tells_no_rate_by_night() -> None:
    """The rate by night is withheld with what would be needed."""
    days = story(DAYS, replace(Air(), misted_h=(8.5, 10.5, 12.5, 14.5, 16.5)))

    found = judged(days.climate, days.reported(), days.end_ms)

    assert found.day is not None
    assert found.night is None
    assert Sign.FEW_DECAYS in {doubt.sign for doubt in found.doubts}
