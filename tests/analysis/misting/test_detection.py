"""Mistings found in the air: what counts as one, and what only looks like it."""

from dataclasses import replace

import numpy as np

from monitor.analysis.misting import Climate, seen_in_air
from monitor.times import MINUTE_MS
from tests.analysis.misting.plain import LIGHTS, Air, story

NEAR_MS = 5 * MINUTE_MS


def near(found: list[int], wanted: list[int]) -> float:
    """Share of what was wanted that was found."""
    gaps = np.abs(np.array(found)[:, None] - np.array(wanted))
    return float((gaps.min(axis=0) < NEAR_MS).mean())


def test_mistings_are_found_with_their_time_and_height() -> None:
    """Nothing else in five days; each within minutes, the rise within a fifth."""
    told = story(5)

    rises = seen_in_air(told.climate, LIGHTS).rises

    times = [rise.at_ms for rise in rises]
    assert near(times, list(told.misted_ms)) == 1.0
    assert len(times) == len(told.misted_ms)
    assert abs(np.median([rise.rise for rise in rises]) - 4.0) < 0.8


def test_half_of_a_rise_is_gone_when_the_rate_says_so() -> None:
    """Ln 2 over the rate, within a fifth, in the middle of all mistings."""
    rises = seen_in_air(story(5).climate, LIGHTS).rises

    halved_h = np.median([rise.halved_after_s / 3600 for rise in rises if rise.halved_after_s])
    assert abs(halved_h / (np.log(2.0) / 1.5) - 1.0) < 0.2


def test_a_lamp_is_no_misting() -> None:
    """Relative humidity jumps by 10 % as the lamp goes off; the vapour does not."""
    told = story(5, Air(misted_h=(), lamp_k=5.0))

    assert np.ptp(told.climate.humidity) > 10.0
    assert seen_in_air(told.climate, LIGHTS).rises == ()


def test_a_lid_that_is_opened_and_closed_is_no_misting() -> None:
    """The air that comes back after it only returns to where it was; the loss is told."""
    told = story(4, Air(misted_h=(), opened_h=16.0, rate=4.0))

    seen = seen_in_air(told.climate, LIGHTS)
    assert seen.rises == ()
    assert len(seen.losses) == 4


def test_noise_alone_shows_nothing() -> None:
    """Two weeks of a restless probe without any misting."""
    told = story(14, Air(misted_h=(), noise_rh=0.8, noise_k=0.1))

    assert seen_in_air(told.climate, LIGHTS).rises == ()


def test_small_doses_are_found_less_surely() -> None:
    """What adds 0.6 g/m3 is still found, with less certainty than what adds 4."""
    small, large = (seen_in_air(story(4, Air(dose=dose)).climate).rises for dose in (0.6, 4.0))

    assert len(small) >= 0.8 * len(large)
    assert np.median([rise.certainty for rise in small]) < 0.4 * np.median(
        [rise.certainty for rise in large]
    )


def test_gaps_are_looked_through() -> None:
    """Where readings are missing nothing is made up, and the rest is found."""
    told = story(4)
    since = told.climate.at_ms - told.climate.at_ms[0]
    kept = (since % (6 * 60 * MINUTE_MS)) > 40 * MINUTE_MS
    part = Climate(
        *(getattr(told.climate, name)[kept] for name in ("at_ms", "temperature", "humidity"))
    )

    rises = seen_in_air(part, LIGHTS).rises

    wanted = [
        at for at in told.misted_ms if kept[np.abs(told.climate.at_ms - at) < 15 * MINUTE_MS].all()
    ]
    assert near([rise.at_ms for rise in rises], wanted) == 1.0
    assert all(
        np.min(np.abs(np.array(told.misted_ms) - rise.at_ms)) < 45 * MINUTE_MS for rise in rises
    )


def test_a_probe_that_speaks_every_five_minutes_will_do() -> None:
    """The search widens with the period; times are as good as the period."""
    told = story(5, replace(Air(), period_s=300.0))

    rises = seen_in_air(told.climate, LIGHTS).rises

    gaps = np.abs(np.array([r.at_ms for r in rises])[:, None] - np.array(told.misted_ms))
    assert (gaps.min(axis=0) < 10 * MINUTE_MS).mean() > 0.9


def test_next_to_nothing_is_nothing() -> None:
    """A handful of readings shows no misting, and does not fail."""
    told = story(1)

    assert seen_in_air(told.climate.between(0, told.climate.at_ms[5])) == ((), ())
