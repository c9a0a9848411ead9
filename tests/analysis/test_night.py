"""A night looked at: figures by hand, ten-minute readings, lights off from 20:00 to 08:00 UTC."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from monitor.analysis.night import (
    Beyond,
    Extreme,
    Misting,
    Need,
    NightReport,
    SeenAlarm,
    Silence,
    Told,
    night_report,
    urgency,
)
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Spans, Zone
from monitor.setup.nights import Night
from monitor.store.readings import Track
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, parse_rfc3339

OFF_MS = parse_rfc3339("2026-11-24T20:00:00Z")
ON_MS = OFF_MS + 12 * HOUR_MS
NIGHT = Night(dt.date(2026, 11, 25), OFF_MS, ON_MS)
RANGE = Spans.model_validate({"humidity": [70, 95], "temperature": [18, 25]})
STEP_MS = 10 * MINUTE_MS


def probe(id_: str) -> Probe:
    """A probe every ten minutes, in the zone of its name; silent after half an hour."""
    return Probe(id=id_, zone=Zone(id_), period_s=600)


CUBE = Enclosure(id="cube", name="Cube", probe=(probe("canopy"), probe("floor")))


def told(
    id_: str = "canopy",
    humidity: Mapping[int, float] | None = None,
    *,
    missing: Sequence[int] = (),
    spans: Spans = RANGE,
) -> Told:
    """A probe's night: 80 %RH and 20 degrees but where it says otherwise, by step of ten minutes.

    Step 0 is lights off; an hour before and after is there too; ``missing`` steps are not.
    """
    steps = [step for step in range(-6, 79) if step not in missing]
    at_ms = OFF_MS + STEP_MS * np.array(steps, np.int64)
    values = np.array([(humidity or {}).get(step, 80.0) for step in steps])
    good = np.zeros(len(steps), np.uint8)
    tracks = {
        Quantity.HUMIDITY: Track(at_ms, values, good),
        Quantity.TEMPERATURE: Track(at_ms, np.full(len(steps), 20.0), good),
    }
    return Told(probe(id_), spans, tracks, at_ms)


def report(
    *probes: Told,
    alarms: Sequence[SeenAlarm] = (),
    mistings: Sequence[Misting] = (),
    as_of_ms: int = ON_MS + HOUR_MS,
) -> NightReport:
    """The night of these probes, looked at an hour after lights on."""
    return night_report(CUBE, NIGHT, probes, alarms, mistings, as_of_ms)


def test_extremes_have_time_and_probe() -> None:
    """Of all probes, within the night alone: what was before lights off does not count."""
    found = report(
        told("canopy", {-1: 10.0, 0: 71.0, 30: 60.5, 72: 5.0}),
        told("floor", {40: 99.0}),
    ).courses[Quantity.HUMIDITY]

    assert found.lowest == Extreme(60.5, OFF_MS + 30 * STEP_MS, "canopy", Zone.CANOPY)
    assert found.highest == Extreme(99.0, OFF_MS + 40 * STEP_MS, "floor", Zone.FLOOR)


def test_extremes_are_of_the_air() -> None:
    """Soil is at 100 %RH every night; alone it is better than nothing."""
    soil = told("substrate", dict.fromkeys(range(100), 100.0), spans=Spans())

    assert report(told(), soil).courses[Quantity.HUMIDITY].highest.value == 80.0
    assert report(soil).courses[Quantity.HUMIDITY].highest.value == 100.0


def test_time_out_of_range_counts_once_for_all_probes() -> None:
    """Canopy low for steps 10 to 14, floor for 13 to 17: 80 minutes in all, the worst is named."""
    found = report(
        told("canopy", dict.fromkeys(range(10, 15), 65.0)),
        told("floor", dict.fromkeys(range(13, 18), 69.0)),
    ).courses[Quantity.HUMIDITY]

    assert found.below.ms == 80 * MINUTE_MS
    assert found.below.worst == Extreme(65.0, OFF_MS + 10 * STEP_MS, "canopy", Zone.CANOPY)
    assert found.above == Beyond(0, None)


def test_the_worst_is_so_by_its_own_range() -> None:
    """A dry floor may be moister than a canopy in order."""
    wet = Spans.model_validate({"humidity": [85, 100]})
    found = report(
        told("canopy", {10: 70.5}),
        told("floor", {n: 90.0 - (n == 20) * 6 for n in range(80)}, spans=wet),
    ).courses[Quantity.HUMIDITY]

    assert found.lowest.probe == "canopy"
    assert found.below.worst == Extreme(84.0, OFF_MS + 20 * STEP_MS, "floor", Zone.FLOOR)


def test_a_reading_stands_no_longer_than_its_probe_may_be_silent() -> None:
    """Low, then nothing for two hours: half an hour is known."""
    found = report(told("canopy", {10: 65.0}, missing=range(11, 23)))

    assert found.courses[Quantity.HUMIDITY].below.ms == 30 * MINUTE_MS


def test_only_good_readings_count() -> None:
    """A suspect value neither makes an extreme nor time out of range; it is a sign of life."""
    canopy = told("canopy", {10: 5.0})
    humidity = canopy.tracks[Quantity.HUMIDITY]
    humidity.reason[humidity.value == 5.0] = Reason.STEP

    found = report(canopy)

    assert found.courses[Quantity.HUMIDITY].lowest.value == 80.0
    assert found.silent == []


def test_a_night_that_lasts_is_told_as_far_as_it_went() -> None:
    """What comes later does not count yet."""
    found = report(told("canopy", {60: 50.0}), as_of_ms=OFF_MS + 50 * STEP_MS)

    assert found.courses[Quantity.HUMIDITY].lowest.value == 80.0
    assert found.need is Need.NOTHING


@pytest.mark.parametrize(
    ("missing", "silence"),
    [
        ((20, 21), None),  # half an hour: as long as it may
        ((20, 21, 22), (40, 19, False)),
        (range(-3, 3), (30, -4, False)),  # began before the night
        ((*range(20, 30), *range(40, 50)), (220, 19, False)),
        (range(60, 79), (130, 59, True)),  # silent still
        (range(-6, 10), (100, None, False)),  # nothing is known of before
        (range(-6, 79), (720, None, True)),
        (range(73, 79), (0, 72, True)),  # since the morning only
    ],
)
def test_silences(missing: Sequence[int], silence: tuple[int, int | None, bool] | None) -> None:
    """Minutes within the night, since when, and whether it lasts."""
    found = report(told("canopy", missing=missing)).silent

    if silence is None:
        assert found == []
        return
    minutes, step, lasts = silence
    since_ms = None if step is None else OFF_MS + step * STEP_MS
    assert found == [Silence("canopy", Zone.CANOPY, minutes * MINUTE_MS, since_ms, lasts)]


def mistings(per_night: Sequence[int]) -> list[Misting]:
    """So many on each night, the reported one last, an hour apart."""
    return [
        Misting(OFF_MS - ago * DAY_MS + n * HOUR_MS, 6.0)
        for ago, count in enumerate(reversed(per_night))
        for n in range(count)
    ]


@pytest.mark.parametrize(
    ("per_night", "usual", "dry"),
    [
        ([9, 9, 9, 9, 9, 9, 9, 9], 9, False),
        ([9, 9, 9, 9, 9, 9, 9, 7], 9, False),
        ([9, 9, 9, 9, 9, 9, 9, 6], 9, True),
        ([1, 1, 1, 1, 1, 1, 1, 0], 1, True),
        ([1, 0, 1, 0, 0, 1, 1, 0], 0, False),  # by hand, now and then
        ([0, 0, 0, 9, 9, 9, 9, 0], 0, False),  # a new mister
        ([0, 9, 0, 9, 9, 9, 9, 0], 9, True),
    ],
)
def test_missing_mistings_need_a_custom(per_night: list[int], usual: int, dry: bool) -> None:
    """What came on five of seven nights is usual; three quarters of it are enough."""
    found = report(told(), mistings=mistings(per_night))

    assert len(found.mistings) == per_night[-1]
    assert (found.usual_mistings, found.dry) == (usual, dry)
    assert found.need is (Need.LOOK if dry else Need.NOTHING)


ALARM = SeenAlarm("a", "warning", OFF_MS + HOUR_MS, True, False, False, "It is dry.")


@pytest.mark.parametrize(
    ("found", "need"),
    [
        (report(told()), Need.NOTHING),
        (report(told(humidity=dict.fromkeys(range(2), 65.0))), Need.NOTHING),
        (report(told(humidity=dict.fromkeys(range(3), 65.0))), Need.LOOK),
        (report(told(), alarms=[ALARM]), Need.HAND),
        (report(told(), alarms=[ALARM._replace(standing=False)]), Need.LOOK),
        (report(told(), alarms=[ALARM._replace(quiet=True)]), Need.LOOK),
        (report(told(missing=range(20, 30))), Need.LOOK),
        (report(told(missing=range(20, 79))), Need.HAND),
        (report(), Need.NOTHING),
    ],
)
def test_what_a_night_asks_for(found: NightReport, need: Need) -> None:
    """A hand while something is the matter, a look if something was, else nothing."""
    assert found.need is need


def test_the_one_that_needs_a_hand_first() -> None:
    """Critical before warning, many before few, worse before better, then by name."""
    critical = ALARM._replace(priority="critical")

    def named(name: str, one: NightReport) -> NightReport:
        return replace(one, enclosure=CUBE.model_copy(update={"name": name}))

    expected = [
        named("critical", report(told(), alarms=[critical])),
        named("two", report(told(), alarms=[ALARM, ALARM])),
        named("dry", report(told(humidity={1: 60.0}), alarms=[ALARM])),
        named("one", report(told(), alarms=[ALARM])),
        named("was", report(told(), alarms=[ALARM._replace(standing=False)])),
        named("A quiet one", report(told())),
        named("B quiet one", report(told())),
    ]

    shuffled = expected[3:] + expected[:3]

    assert sorted(shuffled, key=urgency) == expected
