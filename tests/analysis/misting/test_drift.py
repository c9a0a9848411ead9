"""Changes within the record, and a slow probe: found where they are, silent where they are not."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.misting import Assessment, Changed, Climate, Reported, Sign, Source, assess
from monitor.times import DAY_MS
from tests.analysis.misting.plain import LIGHTS, Air, Story, story

HALF = 6


def judged(told: Story, seconds: float = 10.0) -> Assessment:
    """The assessment of a story whose mistings were all reported."""
    reported = [Reported(at_ms, seconds, Source.MISTER) for at_ms in told.misted_ms]
    return assess(told.climate, None, reported, LIGHTS, told.end_ms)


def in_two(before: Air, after: Air) -> Story:
    """Six days of one, six days of the other."""
    first, second = story(HALF, before), story(HALF, after, seed=1)
    shift = HALF * DAY_MS
    climate = Climate(
        np.concatenate([first.climate.at_ms, second.climate.at_ms + shift]),
        np.concatenate([first.climate.temperature, second.climate.temperature]),
        np.concatenate([first.climate.humidity, second.climate.humidity]),
    )
    misted = first.misted_ms + tuple(at_ms + shift for at_ms in second.misted_ms)
    return Story(climate, misted, second.end_ms + shift)


@pytest.mark.parametrize(
    ("after", "ratio", "says"),
    [
        (replace(Air(), rate=2.4), 1.6, "1.[56]. times as fast as before: is the lid ajar"),
        (replace(Air(), rate=0.9), 0.6, "times as slowly as before: were vents covered"),
        (replace(Air(), rate=0.9, asymptote=9.5), 0.6, "is the ground drying out"),
    ],
)
def test_a_change_of_the_rate_is_told_with_what_to_look_at(
    after: Air, ratio: float, says: str
) -> None:
    """An open lid, a covered vent, and ground that dries are told apart by what the air goes to."""
    found = judged(in_two(Air(), after))
    (drift,) = found.drifts

    assert (found.day, found.night) == (None, None)
    assert found.plan_cannot is not None
    assert found.plan_cannot.startswith("the air came to dry otherwise within the record")
    assert drift.changed is Changed.RATE
    assert drift.low <= ratio <= drift.high
    with pytest.raises(ValueError, match=says):
        raise ValueError(drift.says)


def test_a_nozzle_that_clogs_is_told() -> None:
    """Half the vapour from the same seconds."""
    (drift,) = judged(in_two(Air(dose=6.0), Air(dose=3.0))).drifts

    assert drift.changed is Changed.DOSE
    assert drift.ratio == pytest.approx(0.5, abs=0.05)
    assert "is a nozzle clogged" in drift.says


def test_where_nothing_changed_nothing_is_told() -> None:
    """Twelve days of the same."""
    assert judged(in_two(Air(), Air())).drifts == ()


def test_a_slow_probe_is_known_by_how_it_follows_the_lamp() -> None:
    """Humidity ten minutes behind: the lag is measured, and no rate is given."""
    told = story(8, replace(Air(), lamp_k=5.0))
    keep = float(np.exp(-1.0 / 10.0))
    humidity, now = told.climate.humidity.copy(), float(told.climate.humidity[0])
    for k, value in enumerate(told.climate.humidity.tolist()):
        now = keep * now + (1.0 - keep) * value
        humidity[k] = now + 0.1 * ((k * 7) % 5 - 2)
    slow = replace(told, climate=replace(told.climate, humidity=humidity))

    found = judged(slow)

    assert found.lag.minutes is not None
    assert 6.0 <= found.lag.minutes <= 15.0
    assert Sign.SLOW_PROBE in {doubt.sign for doubt in found.doubts}
    assert (found.day, found.night) == (None, None)


def test_a_prompt_probe_has_no_lag() -> None:
    """Nothing is said of it."""
    found = judged(story(8, replace(Air(), lamp_k=5.0)))

    assert not found.lag.slow
    assert Sign.SLOW_PROBE not in {doubt.sign for doubt in found.doubts}
