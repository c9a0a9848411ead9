"""Plans: within the limits, keeping the goal when lived, and reasons where there is none."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.misting import (
    Futures,
    Goal,
    Limits,
    Model,
    Prediction,
    Schedule,
    Span,
    Spray,
    assess,
    plan,
    predict,
)
from monitor.analysis.misting.prediction import longest, promise
from monitor.analysis.misting.schedule import from_steps, on_steps
from tests.analysis.misting.plain import LIGHTS, Air, story

GOAL = Goal(Span(50.0, 88.0), Span(50.0, 92.0), dry_below=70.0, dry_hours=4.0)
LIMITS = Limits(shortest_s=3.0, longest_s=30.0, most_a_day=10)
AIR = Air(dose=4.0)


@pytest.fixture(scope="module")
def model() -> Model:
    """An enclosure that a week's log has made known."""
    told = story(7, AIR)
    found = assess(told.climate, None, told.reported(), LIGHTS, told.end_ms, GOAL, LIMITS)
    assert found.model is not None
    return found.model


def minutes(schedule: Schedule) -> list[int]:
    """Of the day, in order."""
    return [60 * spray.at.hour + spray.at.minute for spray in schedule]


def test_a_plan_keeps_its_promise_when_it_is_lived(model: Model) -> None:
    """The air of the story, misted by the first proposal for six days."""
    (first, *_) = plan(model, GOAL, LIMITS).proposals
    seconds = {spray.seconds for spray in first.schedule}
    assert len(seconds) == 1
    lived = story(
        7,
        replace(
            AIR,
            misted_h=tuple(m / 60.0 for m in minutes(first.schedule)),
            dose=0.1 * AIR.dose * seconds.pop(),
        ),
        seed=5,
    ).climate
    lit = LIGHTS.is_day(lived.at_ms)
    low = np.where(lit, GOAL.day.low, GOAL.night.low)
    high = np.where(lit, GOAL.day.high, GOAL.night.high)

    inside = np.mean((lived.humidity >= low) & (lived.humidity <= high))

    assert inside >= first.predicted.promised - 0.03
    assert abs(inside - first.predicted.time_in_range) < 0.1


def test_plans_respect_the_mister_and_the_keeper(model: Model) -> None:
    """Lengths, number, distance and quiet hours, also over midnight; every misting in each plan."""
    quiet = ((dt.time(22), dt.time(7, 30)),)
    limits = replace(LIMITS, quiet=quiet, step_s=5.0, apart_min=90, most_a_day=8)

    proposals = plan(model, replace(GOAL, share=0.5), limits).proposals

    assert proposals
    for proposal in proposals:
        at = minutes(proposal.schedule)
        assert len(at) <= 8
        assert all(450 <= minute < 1320 for minute in at)
        gaps = np.diff([*at, at[0] + 1440]) if at else np.array([1440])
        assert gaps.min() >= 90
        assert {spray.seconds for spray in proposal.schedule} <= {3, 8, 13, 18, 23, 28}


@pytest.mark.parametrize("lit", [True, False])
def test_plans_follow_the_lights_where_they_must(model: Model, lit: bool) -> None:
    """Only by day, or only by night."""
    limits = replace(LIMITS, only_lit=lit, only_dark=not lit)

    for proposal in plan(model, replace(GOAL, share=0.4, dry_hours=0.0), limits).proposals:
        assert all((480 <= minute < 1200) is lit for minute in minutes(proposal.schedule))


@pytest.mark.parametrize(
    ("goal", "limits", "says"),
    [
        (Goal(Span(10.0, 40.0), Span(10.0, 40.0)), LIMITS, "too wet by itself: .* above the range"),
        (
            Goal(Span(40.0, 90.0), Span(40.0, 90.0), dry_below=35.0, dry_hours=8.0),
            LIMITS,
            "it does not dry out: even without misting .* on only 0% of the days; ventilate",
        ),
        (
            Goal(Span(75.0, 99.0), Span(75.0, 99.0)),
            replace(LIMITS, longest_s=6.0, most_a_day=4),
            "the air dries too fast: half of a misting is gone after .* cover part of the lid",
        ),
        (
            Goal(Span(54.0, 90.0), Span(50.0, 95.0)),
            replace(LIMITS, quiet=((dt.time(7, 0), dt.time(19, 0)),)),
            "the hours without misting stand in the way: .* without them it works",
        ),
        (
            Goal(Span(58.0, 92.0), Span(58.0, 95.0), dry_below=56.0, dry_hours=12.0, share=0.7),
            replace(LIMITS, most_a_day=24, longest_s=15.0),
            "range and drying-out do not go together: .* without the drying-out it works",
        ),
        (
            Goal(Span(53.0, 88.0), Span(53.0, 92.0)),
            LIMITS,
            "days differ too much to promise it: the best found, .* It may well do",
        ),
        (
            Goal(Span(60.0, 62.0), Span(60.0, 62.0)),
            LIMITS,
            "the (range is too narrow|air dries too fast)",
        ),
    ],
)
def test_what_cannot_be_reached_is_told_with_figures(
    model: Model, goal: Goal, limits: Limits, says: str
) -> None:
    """No plan, the reason, and the best that was found."""
    found = plan(model, goal, limits)

    assert found.proposals == ()
    assert found.infeasible is not None
    with pytest.raises(ValueError, match=says):
        raise ValueError(found.infeasible)
    assert found.best is not None


@pytest.mark.parametrize("day", [True, False])
@pytest.mark.parametrize("night", [True, False])
def test_a_plan_tells_how_fast_it_dries_only_where_the_assessment_does(
    model: Model, day: bool, night: bool
) -> None:
    """A rate too doubtful to be given is not given in a plan's reason either."""
    assert model.day is not None
    assert model.night is not None
    known = replace(model, day=model.day if day else None, night=model.night if night else None)

    (first, *_) = plan(known, replace(GOAL, share=0.5), LIMITS).proposals

    assert first.schedule
    assert ("min by day" in first.why) is day
    assert ("min by night" in first.why) is night
    assert ("cannot be said" in first.why) is not (day and night)


def test_an_assessment_and_its_plan_say_the_same_of_a_rate_too_doubtful_to_give() -> None:
    """Misted by day only, nobody knows how fast it dries by night: neither says it."""
    told = story(7, replace(AIR, misted_h=(8.5, 10.5, 12.5, 14.5, 16.5)))

    found = assess(told.climate, None, told.reported(), LIGHTS, told.end_ms, GOAL, LIMITS)

    assert found.day is not None
    assert found.night is None
    assert found.plan is not None
    says = [each.why for each in found.plan.proposals] or [found.plan.infeasible or ""]
    assert not any("min by night" in each for each in says)
    assert any("by night that cannot be said" in each for each in says)


def test_why_no_mist_will_do_leaves_out_a_rate_that_cannot_be_told(model: Model) -> None:
    """What the mister would hold is predicted all the same."""
    goal = Goal(Span(75.0, 99.0), Span(75.0, 99.0))
    limits = replace(LIMITS, longest_s=6.0, most_a_day=4)

    told = plan(replace(model, day=None, night=None), goal, limits).infeasible

    assert told is not None
    assert told.startswith("the air dries too fast: 4 mistings of 6 s, evenly spread, would hold")


def test_air_that_keeps_by_itself_needs_no_mist(model: Model) -> None:
    """The cheapest of all plans is none."""
    found = plan(model, Goal(Span(20.0, 95.0), Span(20.0, 95.0)), LIMITS)

    assert found.proposals[0].schedule == ()
    assert found.proposals[0].why.startswith("no misting at all")


def test_more_water_makes_it_wetter(model: Model) -> None:
    """Prediction is monotone: humidity, hours near saturation, water; deficits go down."""

    def tried(seconds: float) -> Prediction:
        schedule = tuple(Spray(dt.time(hour), seconds) for hour in (8, 12, 16))
        return predict(Futures(model), schedule, GOAL, LIMITS)

    some, more = tried(5.0), tried(25.0)

    assert more.humidity.middle.mean() > some.humidity.middle.mean() + 1.0
    assert more.deficit.middle.mean() < some.deficit.middle.mean()
    assert more.hours_near_saturation >= some.hours_near_saturation
    assert more.water_g_m3 == pytest.approx(5.0 * some.water_g_m3)
    assert (more.humidity.low <= more.humidity.middle).all()
    assert (more.humidity.middle <= more.humidity.high).all()


def test_water_is_what_the_nozzles_spray_where_that_is_known(model: Model) -> None:
    """Else what evaporates in so many litres, else unknown."""
    schedule = (Spray(dt.time(8), 10.0),)
    sprayed = predict(Futures(model), schedule, GOAL, replace(LIMITS, flow_ml_per_s=1.5))
    evaporated = predict(Futures(replace(model, volume_l=100.0)), schedule, GOAL, LIMITS)

    assert sprayed.water_ml_per_day == pytest.approx(15.0)
    assert evaporated.water_ml_per_day == pytest.approx(10.0 * 0.4 * 0.1, rel=0.1)
    assert predict(Futures(model), schedule, GOAL, LIMITS).water_ml_per_day is None


def test_a_promise_lies_below_the_mean_the_more_sure_it_must_be() -> None:
    """And is never more than the mean, or less than nothing."""
    inside = np.random.default_rng(2).uniform(0.6, 1.0, (30, 12))

    unsure, sure = promise(inside, 0.6, 1), promise(inside, 0.95, 1)

    assert 0.0 <= sure < unsure < inside.mean()
    assert promise(np.zeros((5, 4)), 0.9, 1) == 0.0


def test_the_longest_run_closes_over_midnight() -> None:
    """A run over midnight counts in one piece; all true is the whole day, none is nothing."""
    ring = np.array([True, True, False, True, False, True, True])

    assert longest(ring[None]).tolist() == [4]
    assert longest(np.ones((1, 7), dtype=np.bool_)).tolist() == [7]
    assert longest(np.zeros((1, 7), dtype=np.bool_)).tolist() == [0]


def test_a_schedule_survives_the_grid(model: Model) -> None:
    """To steps and back it is the same, to the width of a step."""
    schedule = (Spray(dt.time(0, 5), 4.0), Spray(dt.time(13, 45), 7.0))

    assert from_steps(on_steps(schedule, model.days), model.days.step_h) == schedule


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Goal(Span(80.0, 60.0), Span(50.0, 90.0)), "day 80 to 60 %RH"),
        (lambda: Goal(Span(50.0, 90.0), Span(50.0, 101.0)), "night 50 to 101 %RH"),
        (lambda: Goal(Span(50.0, 90.0), Span(50.0, 90.0), share=0.0), "share 0 must be"),
        (lambda: Limits(shortest_s=9.0, longest_s=3.0), "shortest_s 9 must be"),
        (lambda: Limits(apart_min=-1), "must not be negative"),
    ],
)
def test_goals_and_limits_that_make_no_sense_are_refused(make: object, says: str) -> None:
    """With what is wrong."""
    with pytest.raises(ValueError, match=says):
        make()  # type: ignore[operator]
