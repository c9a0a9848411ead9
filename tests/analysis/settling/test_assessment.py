"""The verdict of whole builds."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from monitor.analysis.settling import (
    Build,
    Criterion,
    Name,
    ProbeRecord,
    Result,
    Samples,
    Settling,
    Verdict,
    assess,
)
from monitor.setup.journal import ENTRY
from monitor.species.profile import Basis, DryOut
from monitor.species.ranges import Span, Spans, Zone, ZoneRange
from monitor.species.settling import SettlingLimits
from monitor.times import DAY_MS, HOUR_MS
from tests.analysis.settling.plain import (
    BUILT_ON,
    at_ms,
    bloom,
    build,
    look,
    probe,
    record,
    without,
)

LISBON = ZoneInfo("Europe/Lisbon")


def the(found: Settling, name: Name) -> Criterion:
    """The first criterion of a name."""
    return next(each for each in found.criteria if each.name is name)


def of_all(found: Settling) -> dict[Name, set[Result]]:
    """Results by name."""
    results: dict[Name, set[Result]] = {}
    for each in found.criteria:
        results.setdefault(each.name, set()).add(each.result)
    return results


class TestVerdict:
    """The way of a build from the first day on."""

    def test_a_build_goes_from_collecting_over_settling_to_settled(self) -> None:
        """Three weeks of data, then age and clean looks, then nothing is open."""
        verdicts = [assess(build(day)).verdict for day in (0.5, 1.5, 12.5, 22.5, 28.5, 31.9)]

        assert verdicts == [
            Verdict.COLLECTING,
            Verdict.COLLECTING,
            Verdict.COLLECTING,
            Verdict.SETTLING,
            Verdict.SETTLING,
            Verdict.SETTLED,
        ]

    def test_it_names_the_day_and_keeps_its_word(self) -> None:
        """What is foretold on day 23, if things go on as they do, comes true."""
        looks = bloom(40, every=1)
        early = assess(build(23.5, journal=looks))
        assert early.earliest is not None
        day = (early.earliest - BUILT_ON).days

        assert assess(build(day - 0.1, journal=looks)).verdict is Verdict.SETTLING
        assert assess(build(day + 0.9, journal=looks)).verdict is Verdict.SETTLED

    def test_settled_means_that_all_criteria_passed(self) -> None:
        """And then nothing holds it up, and no date is left."""
        found = assess(build(40))

        assert found.verdict is Verdict.SETTLED
        assert of_all(found) == {
            name: {Result.PASS} for name in Name if name not in (Name.RECOVERY, Name.DRY_OUT)
        }
        assert (found.holds_it_up, found.earliest, found.relapses) == (None, None, ())
        assert [each.name for each in found.criteria] == sorted(
            (each.name for each in found.criteria), key=list(Name).index
        )

    def test_without_looks_it_cannot_settle(self) -> None:
        """However even the climate, and it says which look is due."""
        found = assess(build(80, journal=[]))

        assert found.verdict is Verdict.SETTLING
        assert found.holds_it_up is not None
        assert "a look is due" in found.holds_it_up
        assert of_all(found)[Name.MOULD] == {Result.UNKNOWN}

    @pytest.mark.parametrize(
        ("change", "name"),
        [
            ({"springtails_seen": False}, Name.SPRINGTAILS),
            ({"isopods_seen": False}, Name.ISOPODS),
            ({"plants": "wilting"}, Name.PLANTS),
            ({"cover": 2}, Name.MOULD),
        ],
    )
    def test_each_part_of_life_can_hold_it_up(self, change: dict[str, object], name: Name) -> None:
        """One thing amiss at the last looks leaves it unsettled, and says so first."""
        told = {"cover": 0} | change
        cover = int(str(told.pop("cover")))
        looks = [*bloom(25), *(look(day, cover, **told) for day in range(25, 41, 3))]

        found = assess(build(40.9, journal=looks))

        assert found.verdict is Verdict.UNSETTLED
        assert found.holds_it_up == the(found, name).says
        assert found.earliest is None

    def test_who_does_not_live_there_need_not_be_seen(self) -> None:
        """Without crew and plants those criteria are absent."""
        looks = [
            look(day, cover, springtails_seen=None, isopods_seen=None, plants=None)
            for day, cover in ((5, 1), (10, 3), (20, 0), (28, 0), (34, 0))
        ]
        kept = build(35, journal=looks)
        bare = replace(kept, has_springtails=False, has_isopods=False, has_plants=False)

        assert assess(kept).verdict is Verdict.SETTLING
        assert assess(bare).verdict is Verdict.SETTLED
        assert not {Name.SPRINGTAILS, Name.ISOPODS, Name.PLANTS} & set(of_all(assess(bare)))

    def test_a_climate_out_of_range_is_unsettled(self) -> None:
        """Even, dry and out of range: time alone will not cure it."""
        narrow = Spans(humidity=Span(low=85, high=95))
        found = assess(build(40, ranges={Zone.CANOPY: ZoneRange(day=narrow, night=narrow)}))

        assert found.verdict is Verdict.UNSETTLED
        assert found.holds_it_up is not None
        assert "within 85 to 95 %RH by day" in found.holds_it_up

    def test_without_ranges_it_cannot_settle(self) -> None:
        """Nobody said what it should be."""
        found = assess(build(40, ranges={}))

        assert found.verdict is Verdict.UNSETTLED
        assert "No range is known" in str(found.holds_it_up)

    def test_a_drifting_build_is_settling_with_a_date(self) -> None:
        """A drift that dies away is a matter of time; how much is still to come is told."""
        fading = probe(40, scatter=0.2)
        day = (fading.humidity.at_ms - at_ms(0.0)) / DAY_MS
        wet = record(
            fading.humidity.at_ms,
            fading.temperature.value,
            fading.humidity.value + 12.0 * np.exp(-day / 20.0),
        )

        found = assess(build(40, [wet]))

        assert found.verdict is Verdict.SETTLING
        still = the(found, Name.STILL_TO_COME)
        assert still.value == pytest.approx(-12.0 * np.exp(-39.5 / 20.0), abs=0.5)
        assert still.earliest is not None
        assert dt.timedelta(days=2) <= still.earliest - (BUILT_ON + dt.timedelta(days=40))
        assert found.holds_it_up == still.says

    def test_even_today_is_not_even_three_days_running(self) -> None:
        """On the first day that enough data is there the criterion is unknown yet."""
        evenness = the(assess(build(21.5)), Name.EVENNESS)

        assert evenness.result is Result.UNKNOWN
        assert "found on 1 day running" in evenness.says
        assert evenness.earliest == BUILT_ON + dt.timedelta(days=23)
        assert the(assess(build(23.5)), Name.EVENNESS).result is Result.PASS

    def test_dry_out_is_asked_where_an_inhabitant_needs_it(self) -> None:
        """And not met by air that never falls below its humidity."""
        need = DryOut(hours_a_day=4, below=50, basis=Basis.MEMORY)

        found = assess(build(40, dry_out=[need]))

        assert of_all(found)[Name.DRY_OUT] == {Result.FAIL}
        assert found.verdict is Verdict.UNSETTLED

    def test_the_mould_index_has_no_say(self) -> None:
        """It stands aside and says what it cannot say."""
        found = assess(build(40, [probe(40, humidity_offset=25.0)]))

        (aside,) = found.asides
        assert (aside.name, aside.zone) == ("mould_index", Zone.CANOPY)
        assert aside.value > 1.0
        assert "cannot say that a bloom is over" in aside.says
        assert "mould_index" not in {each.name.value for each in found.criteria}

    def test_limits_can_be_changed(self) -> None:
        """A keeper who asks for eight weeks gets eight weeks."""
        found = assess(build(40), SettlingLimits(age_days=56))

        assert found.verdict is Verdict.SETTLING
        assert found.earliest == BUILT_ON + dt.timedelta(days=56)

    def test_a_day_of_building_nobody_wrote_down_is_that_of_the_first_reading(self) -> None:
        """It cannot be older than that, as far as anyone knows."""
        age = the(assess(build(20, [probe(20, first_day=6.0)], built_on=None)), Name.AGE)

        assert age.value == 14.0
        assert "first reading" in age.says


class TestRelapse:
    """A settled enclosure is watched on."""

    def test_it_stays_settled_when_looks_grow_old(self) -> None:
        """Nobody must look every week for ever."""
        found = assess(build(100, journal=bloom(40), was_settled=True))

        assert found.verdict is Verdict.SETTLED
        assert found.holds_it_up is None

    def test_mould_that_comes_back_undoes_it(self) -> None:
        """And is named."""
        looks = [*bloom(40), look(60, 3)]

        found = assess(build(61, journal=looks, was_settled=True))

        assert found.verdict is Verdict.UNSETTLED
        assert [each.name for each in found.relapses] == [Name.MOULD]
        assert found.holds_it_up == the(found, Name.MOULD).says

    def test_a_drift_undoes_it(self) -> None:
        """A climate that clearly moves, three days running."""
        told = probe(85)
        since = np.maximum(0.0, (told.humidity.at_ms - at_ms(60.0)) / DAY_MS)
        both = record(
            told.humidity.at_ms, told.temperature.value, told.humidity.value - 0.9 * since
        )

        kept = assess(build(60, [both], was_settled=True))
        lost = assess(build(85, [both], was_settled=True))

        assert kept.verdict is Verdict.SETTLED
        assert lost.verdict is Verdict.UNSETTLED
        assert Name.EVENNESS in {each.name for each in lost.relapses}

    def test_noise_does_not(self) -> None:
        """What cannot be told is no relapse, nor are readings that stay out."""
        noisy = build(60, [probe(60, scatter=6.0)], was_settled=True)
        silent = build(80, [probe(60)], was_settled=True)

        assert assess(noisy).verdict is Verdict.SETTLED
        assert assess(silent).verdict is Verdict.SETTLED


class TestRoughRecords:
    """Records as they come, not as one would wish."""

    def test_no_probe_and_no_reading(self) -> None:
        """Nothing to judge is told as such."""
        empty = Samples(np.array([], dtype=np.int64), np.array([]))
        mute = ProbeRecord("one", Zone.CANOPY, 60.0, empty, empty)

        no_probe, no_reading = assess(build(40, [])), assess(build(40, [mute]))

        assert no_probe.verdict is no_reading.verdict is Verdict.COLLECTING
        assert no_probe.holds_it_up == "There is no probe in the enclosure."
        assert "cover 0.0 of the last 21 days" in str(no_reading.holds_it_up)

    def test_a_build_of_today_and_of_tomorrow(self) -> None:
        """No whole day yet, and a day of building that lies ahead."""
        assert assess(build(0.6)).verdict is Verdict.COLLECTING
        ahead = build(3, built_on=BUILT_ON + dt.timedelta(days=9))
        assert the(assess(ahead), Name.AGE).value == 0.0
        assert assess(ahead).verdict is Verdict.COLLECTING

    def test_gaps_are_named(self) -> None:
        """The longest, with their times; short ones are not worth a word."""
        holed = without(probe(40), at_ms(30.25), at_ms(31.5))
        holed = without(holed, at_ms(35.0), at_ms(35.0) + HOUR_MS)

        coverage = the(assess(build(40, [holed])), Name.COVERAGE)

        assert coverage.result is Result.PASS
        assert coverage.value == pytest.approx(100 * (1 - (1.25 * 24 + 1 - 0.5) / 24 / 21), abs=0.1)
        assert "none from 31 January 06:15 to 1 February 12:00" in coverage.says
        assert coverage.says.count(" to ") == 1

    def test_long_gaps_send_it_back_to_collecting(self) -> None:
        """Five days without readings in three weeks are too many, and it says until when."""
        found = assess(build(60, [without(probe(60), at_ms(50.0), at_ms(55.0))]))

        assert found.verdict is Verdict.COLLECTING
        assert "20 February 00:15 to 25 February 00:00" in the(found, Name.COVERAGE).says
        # Days 50 to 54 are past when the window of 21 days holds two of them at most.
        assert the(found, Name.COVERAGE).earliest == BUILT_ON + dt.timedelta(days=53 + 21)

    def test_a_day_that_was_sent_twice_changes_nothing(self) -> None:
        """Nor does the order in which readings come."""
        told = probe(40)
        at, temperature, humidity = told.humidity.at_ms, told.temperature.value, told.humidity.value
        again = slice(20 * 288, 22 * 288)
        order = np.random.default_rng(1).permutation(len(at) + 2 * 288)
        twice = record(
            np.append(at, at[again])[order],
            np.append(temperature, temperature[again])[order],
            np.append(humidity, humidity[again])[order],
        )

        once, doubled = assess(build(40, [told])), assess(build(40, [twice]))

        assert [each.result for each in doubled.criteria] == [each.result for each in once.criteria]
        assert doubled.verdict is once.verdict is Verdict.SETTLED

    @pytest.mark.parametrize("built_on", [dt.date(2026, 3, 5), dt.date(2026, 10, 1)])
    def test_a_change_of_the_clock_changes_nothing(self, built_on: dt.date) -> None:
        """Days of 23 and 25 hours lie in the record; the build settles all the same."""
        shift_ms = at_ms(0.0, LISBON, built_on) - at_ms(0.0)
        told = probe(40)
        moved = record(told.humidity.at_ms + shift_ms, told.temperature.value, told.humidity.value)
        looks = [
            ENTRY.validate_python({**each.model_dump(by_alias=True), "at": each.at_ms + shift_ms})
            for each in bloom(40)
        ]

        found = assess(
            replace(
                build(40, [moved], looks, clock=LISBON, built_on=built_on),
                at_ms=at_ms(40.0, LISBON, built_on),
            )
        )

        assert found.verdict is Verdict.SETTLED

    def test_a_probe_replaced_midway(self) -> None:
        """Another probe with another offset takes over; the build is as even as before."""
        first = probe(18.4)
        second = probe(40, first_day=18.4, id_="two", humidity_offset=3.0, seed=2)

        found = assess(build(40, [first, second]))

        assert found.verdict is Verdict.SETTLED
        assert len([each for each in found.criteria if each.name is Name.COVERAGE]) == 1

    def test_more_than_a_year(self) -> None:
        """Four hundred days, of three probes, with the room beside them."""
        zones = (Zone.CANOPY, Zone.FLOOR, Zone.ROOM)
        probes = [probe(400, zone=zone, id_=zone.value, seed=n) for n, zone in enumerate(zones)]

        found = assess(build(400, probes))

        assert found.verdict is Verdict.SETTLED
        assert {each.zone for each in found.criteria} == {None, Zone.CANOPY, Zone.FLOOR}

    def test_what_is_later_is_not_looked_at(self) -> None:
        """An old record judged as of then says what it would have said then."""
        whole: Build = build(60)
        then = replace(whole, at_ms=at_ms(25.5))

        assert assess(then) == assess(build(25.5, [probe(60)], bloom(60)))
        assert assess(then).verdict is Verdict.SETTLING
        assert assess(then).criteria == assess(build(25.5, whole.probes, bloom(25))).criteria
