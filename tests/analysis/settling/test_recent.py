"""Criteria of the recent days: time in range, daily cycle, stagnation, dry-out, recovery."""

import datetime as dt

import numpy as np
import pytest

from monitor.air import vapour_pressure
from monitor.analysis.settling import Name, ProbeRecord, Result
from monitor.analysis.settling.build import Floats
from monitor.analysis.settling.climate import Climate, climates
from monitor.analysis.settling.cycle import daily_cycle, departures, harmonic
from monitor.analysis.settling.days import Days
from monitor.analysis.settling.moisture import (
    dry_out,
    dry_out_zones,
    longest_stretches,
    stagnation,
)
from monitor.analysis.settling.range_time import time_in_range
from monitor.analysis.settling.recovery import half_times, recovery
from monitor.quantities import Quantity
from monitor.setup.daylight import Daylight
from monitor.species.profile import Basis, DryOut
from monitor.species.ranges import Span, Spans, Zone, ZoneRange
from monitor.species.settling import SettlingLimits
from monitor.times import DAY_MS, MINUTE_MS
from tests.analysis.settling.plain import BUILT_ON, UTC, at_ms, probe, record, without

LIMITS = SettlingLimits()
RH = Quantity.HUMIDITY
BINS = 288


def climate(told: ProbeRecord, days: int = 10) -> Climate:
    """A zone's climate over so many days."""
    span = Days.between(BUILT_ON, BUILT_ON + dt.timedelta(days=days - 1), UTC)
    return climates([told], span)[told.zone]


def of_humidity(humidity: Floats, zone: Zone = Zone.CANOPY) -> Climate:
    """The climate of a zone at 24 Cel with a humidity given by bins of five minutes."""
    times = at_ms(0.0) + 5 * MINUTE_MS * np.arange(len(humidity)) + 1000
    return climate(
        record(times, np.full(len(humidity), 24.0), humidity, zone), len(humidity) // BINS
    )


def lit(found: Climate) -> np.ndarray:
    """From eight to eight."""
    return Daylight(dt.time(8), dt.time(20), UTC).is_day(found.days.bin_ms)


class TestTimeInRange:
    """The share of the time within the range, day and night apart."""

    def test_day_and_night_are_told_apart(self) -> None:
        """A humidity in range by day alone passes by day and fails by night."""
        humidity = np.tile(np.where(np.arange(BINS) // 12 % 24 < 8, 95.0, 60.0), 10)
        humidity = np.where(np.arange(len(humidity)) % BINS >= 240, 95.0, humidity)
        found = of_humidity(humidity)
        spans = Spans(humidity=Span(low=50, high=80))

        day, night = time_in_range(found, ZoneRange(day=spans, night=spans), lit(found), LIMITS)

        assert (day.name, day.value, day.result) == (Name.TIME_IN_RANGE_DAY, 100.0, Result.PASS)
        assert (night.name, night.value, night.result) == (
            Name.TIME_IN_RANGE_NIGHT,
            0.0,
            Result.FAIL,
        )
        assert night.earliest is None
        assert night.relapsed

    def test_the_share_is_that_of_the_time(self) -> None:
        """An hour of twelve outside, each day, makes 91.7 %; both limits belong to the range."""
        humidity = np.full(10 * BINS, 80.0)
        humidity[np.arange(10 * BINS) % BINS // 12 == 10] = 80.1
        found = of_humidity(humidity)
        spans = Spans(humidity=Span(low=50, high=80))

        (day,) = time_in_range(found, ZoneRange(day=spans), lit(found), LIMITS)

        assert day.value == pytest.approx(100 * 11 / 12)
        assert "92 % of the last 7 days" in day.says

    def test_a_criterion_for_each_range_there_is(self) -> None:
        """Ranges nobody set, and nights that never come, are not judged."""
        found = climate(probe(10))
        day = Spans(temperature=Span(low=20, high=30), humidity=Span(low=50, high=90))
        night = Spans(temperature=Span(low=20, high=30))
        always = np.ones(len(found.days.day), dtype=bool)

        told = list(time_in_range(found, ZoneRange(day=day, night=night), lit(found), LIMITS))
        no_night = list(time_in_range(found, ZoneRange(day=day, night=night), always, LIMITS))

        assert [(each.name, each.quantity) for each in told] == [
            (Name.TIME_IN_RANGE_DAY, Quantity.TEMPERATURE),
            (Name.TIME_IN_RANGE_DAY, RH),
            (Name.TIME_IN_RANGE_NIGHT, Quantity.TEMPERATURE),
        ]
        assert len(no_night) == 2

    def test_days_that_are_hardly_known_have_no_say(self) -> None:
        """With most of the last week missing the result is unknown, not a pass."""
        found = climate(without(probe(10), at_ms(3.0), at_ms(8.5)))
        spans = Spans(humidity=Span(low=50, high=90))

        (day,) = time_in_range(found, ZoneRange(day=spans), lit(found), LIMITS)

        assert day.result is Result.UNKNOWN
        assert day.says == "canopy: too few of the last 7 days are known."


class TestDailyCycle:
    """One day's curve repeats that of the day before."""

    def test_the_harmonic_of_a_known_course(self) -> None:
        """24 + 2.5 cos(2 pi (t - 15) / 24) over 72 h: amplitude 2.5, highest at 15:00."""
        hour = np.arange(0.0, 72.0, 0.5)

        swing = harmonic(hour, 24.0 + 2.5 * np.cos(2 * np.pi * (hour - 15.0) / 24.0))

        assert swing.amplitude == pytest.approx(2.5, abs=1e-9)
        assert swing.peak_h == pytest.approx(15.0, abs=1e-9)

    def test_equal_days_do_not_depart_whatever_their_mean(self) -> None:
        """Only the curve counts; a mean that moves belongs to evenness."""
        curve = np.sin(np.arange(24.0))
        hourly = curve + np.array([[10.0], [20.0], [15.0]])

        assert departures(hourly, np.ones(3, dtype=bool)) == pytest.approx(
            [np.nan, 0.0, 0.0], abs=1e-6, nan_ok=True
        )

    def test_independent_scatter_shows_as_it_is(self) -> None:
        """Curves with a scatter of 2 depart by 2: the difference of two is divided by sqrt 2."""
        hourly = 2.0 * np.random.default_rng(1).standard_normal((400, 24))

        found = departures(hourly, np.ones(400, dtype=bool))

        assert np.sqrt(np.nanmean(found**2)) == pytest.approx(2.0 * np.sqrt(23 / 24), rel=0.02)

    def test_days_on_which_the_clock_changes_are_passed_over(self) -> None:
        """A day of 23 hours is compared with neither neighbour."""
        usual = np.array([True, True, False, True, True])

        found = departures(np.zeros((5, 24)), usual)

        assert np.isnan(found).tolist() == [True, False, True, True, False]

    def test_a_timer_that_went_astray_fails(self) -> None:
        """Days that swing at other hours each time do not repeat."""
        day = np.arange(10 * BINS) / BINS
        shift = 6.0 * (day.astype(int) % 3)
        wild = of_humidity(70.0 + 15.0 * np.cos(2 * np.pi * (24.0 * day - shift) / 24.0))

        assert daily_cycle(climate(probe(10)), RH, LIMITS).result is Result.PASS
        assert daily_cycle(wild, RH, LIMITS).result is Result.FAIL

    def test_the_swing_is_told(self) -> None:
        """Amplitude and hour of the highest value stand in the sentence."""
        says = daily_cycle(climate(probe(10, scatter=0.0)), Quantity.TEMPERATURE, LIMITS).says

        assert "temperature swings by ±2.5 K and is highest about 15:00" in says


class TestStagnation:
    """The longest stretch near saturation."""

    def test_a_stretch_goes_on_over_midnight(self) -> None:
        """From 18:00 to 09:00 are fifteen hours, told on the second day."""
        humidity = np.full(10 * BINS, 80.0)
        humidity[8 * BINS + 216 : 9 * BINS + 108] = 99.0

        stretches = longest_stretches(of_humidity(humidity), 97.0)

        assert stretches[8:] == pytest.approx([6.0, 15.0])
        assert stretches[:8].max() == 0.0

    def test_a_gap_neither_ends_nor_lengthens_it(self) -> None:
        """Two hours unknown within a wet stretch do not count as dry, nor as wet."""
        humidity = np.full(10 * BINS, 99.0)
        humidity[9 * BINS : 9 * BINS + 12] = 50.0
        humidity[9 * BINS + 120 : 9 * BINS + 147] = np.nan

        stretch = longest_stretches(of_humidity(humidity), 97.0)[9]

        # Readings are held for a quarter of an hour, so 2 of the 2.25 h are unknown.
        assert stretch == pytest.approx(23.0 - 2.0)

    @pytest.mark.parametrize(("hours", "result"), [(18, Result.PASS), (19, Result.FAIL)])
    def test_the_longest_of_a_week_counts(self, hours: int, result: Result) -> None:
        """Eighteen hours pass, nineteen do not; it could pass when that day is past."""
        humidity = np.full(10 * BINS, 80.0)
        humidity[6 * BINS : 6 * BINS + 12 * hours] = 98.0

        found = stagnation(of_humidity(humidity), LIMITS)

        assert found.result is result
        assert found.value == pytest.approx(hours)
        gone = BUILT_ON + dt.timedelta(days=14)
        assert found.earliest == (None if result is Result.PASS else gone)

    def test_air_that_never_dries_has_no_date(self) -> None:
        """If every day is like that, waiting does not help."""
        found = stagnation(of_humidity(np.full(10 * BINS, 100.0)), LIMITS)

        assert found.result is Result.FAIL
        assert found.earliest is None
        assert found.relapsed


class TestDryOut:
    """The daily drying that inhabitants need."""

    NEED = DryOut(hours_a_day=6, below=70, basis=Basis.MEMORY)

    def with_dry_hours(self, *hours: float) -> Climate:
        """Days that are dry for so many hours each."""
        day = np.arange(BINS)
        return of_humidity(
            np.concatenate([np.where(day < round(12 * each), 60.0, 80.0) for each in hours])
        )

    def test_six_of_seven_days_must_dry(self) -> None:
        """One wet day is forgiven, two are not; the hours told are those of the sixth day."""
        one = dry_out(self.with_dry_hours(8, 8, 8, 7, 8, 0, 8), self.NEED, LIMITS)
        two = dry_out(self.with_dry_hours(8, 8, 8, 1, 8, 2, 8), self.NEED, LIMITS)

        assert one.result is Result.PASS
        assert one.value == pytest.approx(7.0)
        assert two.result is Result.FAIL
        assert two.value == pytest.approx(2.0)
        assert two.earliest is not None

    def test_it_is_looked_for_above_the_floor(self) -> None:
        """The floor may stay moist, unless it is all there is; soil and basking spot may always."""
        zones = [Zone.FLOOR, Zone.CANOPY, Zone.SUBSTRATE, Zone.BASKING]
        assert dry_out_zones(zones) == [Zone.CANOPY]
        assert dry_out_zones([Zone.SUBSTRATE, Zone.FLOOR]) == [Zone.FLOOR]
        assert dry_out_zones([Zone.SUBSTRATE]) == []


class TestRecovery:
    """Half of what a misting adds leaves the air again."""

    @pytest.mark.parametrize("rate", [0.5, 1.0, 2.5])
    def test_the_half_time_of_a_decay_is_ln_2_by_its_rate(self, rate: float) -> None:
        """Pulses every twelve hours over a decay of a known rate, as a mass balance gives them."""
        hours = np.arange(6 * BINS) / 12.0
        added = 0.4 / (1.0 - np.exp(-12.0 * rate)) * np.exp(-rate * (hours % 12.0))

        found = half_times(1.5 + added, np.arange(144, 6 * BINS, 144), 6.0)

        assert len(found) == 11
        assert found == pytest.approx([np.log(2.0) / rate] * 11, abs=1 / 12 + 1e-9)

    def test_mistings_that_follow_too_fast_tell_nothing(self) -> None:
        """A misting that was still half there when the next came is left out."""
        staircase = 1.5 + 0.1 * np.floor(np.arange(2 * BINS) / 24.0)

        assert half_times(staircase, np.arange(24, 2 * BINS, 24), 6.0) == []

    def test_air_that_stays_wet_counts_against_it(self) -> None:
        """Followed for longer than asked without coming down, it counts with the time so far."""
        vapour = np.full(BINS, 1.5)
        vapour[24:] = 1.9

        assert half_times(vapour, np.array([24]), 6.0) == pytest.approx([22.0])

    def test_one_misting_in_bursts_is_one(self) -> None:
        """Bursts within a quarter of an hour belong together; what does not show is left out."""
        vapour = 1.5 + np.where(
            np.arange(BINS) < 100, 0.0, 0.3 * np.exp(-0.05 * np.arange(-100, 188.0))
        )

        assert len(half_times(vapour, np.array([40, 100, 102, 104]), 6.0)) == 1

    def test_it_is_told_where_three_could_be_followed(self) -> None:
        """Two mistings make no criterion, three do, in the last fortnight."""
        hours = np.arange(20 * BINS) / 12.0
        humidity = 60.0 + 20.0 * np.exp(-0.7 * (hours % 24.0))
        found = of_humidity(humidity)
        noons = at_ms(0.0) + np.arange(1, 20) * DAY_MS

        told = recovery(found, noons, LIMITS)

        assert recovery(found, noons[:2], LIMITS) is None
        assert recovery(found, noons[:5], LIMITS) is None
        assert recovery(found, np.append(noons[:4], noons[-2:]), LIMITS) is None
        assert told is not None
        assert told.result is Result.PASS
        assert told.value == pytest.approx(1.0, abs=0.1)
        assert "half of what a misting adds to the air is gone after 1.0 h" in told.says


def test_saturation_is_that_of_the_air() -> None:
    """The vapour pressure of the helper above is what the readings imply."""
    found = of_humidity(np.full(BINS, 50.0))

    assert found.bins[Quantity.VAPOUR_PRESSURE][0] == pytest.approx(vapour_pressure(24.0, 50.0))
