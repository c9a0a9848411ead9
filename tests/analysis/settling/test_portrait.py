"""What a report shows is what the assessment judged by."""

import dataclasses
import datetime as dt

import numpy as np
import pytest

from monitor.analysis.settling import Build, Name, ProbeRecord, assess
from monitor.analysis.settling.portrait import Portrait, portrait
from monitor.quantities import Quantity
from monitor.species.settling import SettlingLimits
from tests.support.builds import random_build

LIMITS = SettlingLimits()


@pytest.fixture(scope="module")
def build() -> Build:
    """A simulated build of three probes and a room probe, as it stood on its 45th day."""
    return random_build(np.random.default_rng(11), 50, room_probe=True).at(45)


@pytest.fixture(scope="module")
def shown(build: Build) -> Portrait:
    """Its portrait."""
    return portrait(build, LIMITS)


def test_the_trend_is_the_one_that_was_judged(build: Build, shown: Portrait) -> None:
    """Slope and limit of every zone and quantity are those of the criterion."""
    judged = {
        (each.zone, each.quantity): each.value
        for each in assess(build, LIMITS).criteria
        if each.name is Name.EVENNESS
    }

    assert len(judged) == len(shown.courses) > 3
    for course in shown.courses:
        assert course.slope is not None
        assert course.slope == judged[course.zone, course.quantity]
        assert course.limit == LIMITS.trend(course.quantity)
        assert course.without_room
        (leg,) = course.legs
        days = leg.last - leg.first
        assert leg.to_value - leg.from_value == pytest.approx(course.slope * days)
        window = course.value[-course.window :]
        assert (leg.first, leg.last) == (len(course.value) - course.window, len(course.value) - 1)
        assert 0.5 * (leg.from_value + leg.to_value) == pytest.approx(float(window.mean()))


def test_daily_means_are_those_of_the_readings(build: Build, shown: Portrait) -> None:
    """Each within what the samples of its day average to, by numpy alone."""
    zone = shown.courses[0].zone
    (probe,) = (each for each in build.probes if each.zone is zone)
    course = next(
        each for each in shown.courses if (each.zone, each.quantity) == (zone, Quantity.TEMPERATURE)
    )
    for number, date in enumerate(shown.dates):
        start = dt.datetime.combine(date, dt.time(), build.clock).timestamp() * 1000
        end = dt.datetime.combine(date + dt.timedelta(1), dt.time(), build.clock).timestamp() * 1000
        told = (probe.temperature.at_ms >= start) & (probe.temperature.at_ms < end)
        mean = probe.temperature.value[told].mean()
        assert course.value[number] == pytest.approx(mean, abs=0.05)


def test_the_share_in_range_is_the_one_that_was_judged(build: Build, shown: Portrait) -> None:
    """The mean of the recent days is the criterion's value."""
    judged = {
        (each.name, each.zone, each.quantity): each.value for each in assess(build, LIMITS).criteria
    }

    assert len(shown.shares) > 3
    for share in shown.shares:
        recent = share.percent[-LIMITS.recent_days :]
        assert float(np.nanmean(recent)) == judged[share.name, share.zone, share.quantity]


def test_cycles_are_the_last_days_hour_by_hour(shown: Portrait) -> None:
    """As many as are judged; their means are the daily means."""
    for cycle in shown.cycles:
        (course,) = (
            each
            for each in shown.courses
            if (each.zone, each.quantity) == (cycle.zone, cycle.quantity)
        )
        assert cycle.hourly.shape == (LIMITS.recent_days, 24)
        assert cycle.hourly.mean(axis=1) == pytest.approx(course.value[-LIMITS.recent_days :])


def test_looks_are_those_of_the_journal_up_to_now(build: Build, shown: Portrait) -> None:
    """None from later, each on its local day."""
    looks = build.looks()

    assert [look for _, look in shown.looks] == looks
    assert [cover.cover for cover in shown.covers] == [
        look.mould_cover for look in looks if look.mould_cover is not None
    ]
    assert shown.covers[-1].date <= shown.today


def test_a_probe_that_took_over_has_a_leg_of_its_own(build: Build) -> None:
    """Both lines have the same slope; the step between them is no trend."""
    (old,) = (each for each in build.probes if each.zone is build.probes[0].zone)
    middle_ms = build.at_ms - 12 * 86_400_000

    def part(late: bool) -> ProbeRecord:
        samples = {}
        for name in ("temperature", "humidity"):
            told = getattr(old, name)
            keep = (told.at_ms >= middle_ms) == late
            samples[name] = dataclasses.replace(
                told, at_ms=told.at_ms[keep], value=told.value[keep] + 1.0 * late
            )
        return dataclasses.replace(old, id=f"{old.id}-{late}", **samples)

    others = [each for each in build.probes if each is not old]
    replaced = dataclasses.replace(build, probes=[part(False), part(True), *others])
    course = portrait(replaced, LIMITS).courses[0]

    first, second = course.legs
    slopes = [(leg.to_value - leg.from_value) / (leg.last - leg.first) for leg in course.legs]
    assert slopes == pytest.approx([course.slope, course.slope])
    assert first.last < second.first


def test_an_enclosure_without_readings_has_an_empty_portrait(build: Build) -> None:
    """Nothing to draw, and nothing breaks."""
    bare = portrait(dataclasses.replace(build, probes=[]), LIMITS)

    assert (bare.courses, bare.cycles, bare.shares) == ((), (), ())
    assert bare.covers
