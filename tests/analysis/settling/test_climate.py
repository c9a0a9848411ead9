"""A zone's climate, drawn together from its probes."""

import datetime as dt

import numpy as np
import pytest

from monitor.air import vapour_pressure
from monitor.analysis.settling import Samples
from monitor.analysis.settling.build import ProbeRecord
from monitor.analysis.settling.climate import Climate, climates, daily_means
from monitor.analysis.settling.days import Days
from monitor.quantities import Quantity
from monitor.species.ranges import Zone
from monitor.times import DAY_MS
from tests.analysis.settling.plain import BUILT_ON, UTC, at_ms, probe, without

RH = Quantity.HUMIDITY


def climate(*probes: ProbeRecord, days: int = 20) -> Climate:
    """The canopy's climate over so many days."""
    span = Days.between(BUILT_ON, BUILT_ON + dt.timedelta(days=days - 1), UTC)
    return climates(probes, span)[Zone.CANOPY]


def test_daily_means_are_those_of_the_readings() -> None:
    """With all readings there the mean of a day is the mean of its readings."""
    told = probe(20, scatter=1.0)
    value = told.humidity.value.reshape(20, 288)

    assert climate(told).means(RH) == pytest.approx(value.mean(axis=1), abs=1e-9)


def test_a_missing_night_does_not_make_a_day_dry() -> None:
    """Eight moist hours lost leave the mean within a tenth; a plain mean would be off by 3 %RH."""
    whole = probe(20, scatter=0.3)
    holed = without(whole, at_ms(12.0), at_ms(12.33))

    means = climate(holed).means(RH)

    lost = holed.humidity.at_ms // DAY_MS == at_ms(12.0) // DAY_MS
    assert holed.humidity.value[lost].mean() < climate(whole).means(RH)[12] - 3.0
    assert means[12] == pytest.approx(climate(whole).means(RH)[12], abs=0.1)


def test_a_day_with_few_hours_has_no_mean() -> None:
    """Fifteen known hours are too few, and without one whole day none can be filled in."""
    hourly = np.full((3, 24), 50.0)
    hourly[1, 15:] = np.nan
    assert daily_means(hourly) == pytest.approx([50.0, np.nan, 50.0], nan_ok=True)

    hourly[:, 20:] = np.nan
    assert np.isnan(daily_means(hourly)).all()


def test_vapour_pressure_follows_from_both() -> None:
    """It is that of the bins' temperature and humidity."""
    bins = climate(probe(2), days=2).bins

    expected = vapour_pressure(bins[Quantity.TEMPERATURE], bins[RH])
    assert bins[Quantity.VAPOUR_PRESSURE] == pytest.approx(expected)


def test_a_probe_that_replaces_another_is_told_apart() -> None:
    """Each day comes from the probe that has most of it, and says from which."""
    first = probe(10.4)
    second = probe(20, first_day=10.4, id_="two", humidity_offset=3.0)

    found = climate(first, second)

    assert found.source.tolist() == [0] * 10 + [1] * 10
    assert (found.coverage[:10] > 0.99).all()
    assert found.coverage[10] == pytest.approx(0.6, abs=0.02)


def test_two_probes_are_never_averaged() -> None:
    """Where two probes of a zone disagree, the days are those of the first as long as it tells."""
    found = climate(probe(20), probe(20, id_="two", humidity_offset=5.0))

    assert found.source.tolist() == [0] * 20
    assert found.means(RH) == pytest.approx(climate(probe(20)).means(RH))


def test_a_probe_that_only_knows_the_temperature_is_whole() -> None:
    """What a probe never tells is no gap."""
    full = probe(20)
    empty = Samples(np.array([], dtype=np.int64), np.array([]))

    found = climate(ProbeRecord("one", Zone.CANOPY, 300.0, full.temperature, empty))

    assert found.coverage == pytest.approx(np.ones(20))
    assert found.has(Quantity.TEMPERATURE)
    assert not found.has(RH)


def test_slow_probes_are_no_gaps() -> None:
    """One reading an hour covers the day; one in four hours from a probe that tells hourly not."""
    hourly = probe(20, period_s=3600.0)
    rare = probe(20, period_s=4 * 3600.0)
    slack = ProbeRecord("one", Zone.CANOPY, 3600.0, rare.temperature, rare.humidity)

    assert climate(hourly).coverage[1:] == pytest.approx(np.ones(19))
    assert climate(slack).coverage[5] == pytest.approx(3 / 4 + 1 / 48, abs=0.03)


def test_readings_outside_the_days_are_left_out() -> None:
    """What came before the build was closed, or after now, changes nothing."""
    whole = probe(30)
    inside = without(without(whole, 0, at_ms(0.0)), at_ms(20.0), at_ms(40.0))

    assert climate(whole).means(RH) == pytest.approx(climate(inside).means(RH))
