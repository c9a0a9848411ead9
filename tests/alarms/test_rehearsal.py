"""A rehearsal gives the alarms that the live watch gives, however long its strides."""

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.alarms.desk import AlarmDesk
from monitor.alarms.model import Alarm, State
from monitor.alarms.rehearsal import Part, Regime, regimes, rehearse
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.models import Enclosure
from monitor.species.library import Library, load_library
from monitor.store.readings import Readings, SeriesKey, Track
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, parse_rfc3339

START_MS = parse_rfc3339("2026-11-24T00:00:00Z")
NOT_YET_MS = 2**61
HUMIDITY = Quantity.HUMIDITY
NOBODY = Library(())
FAST = AlarmSettings(on_delay_s=120, critical_on_delay_s=60, off_delay_s=60)


def cube(**more: object) -> Enclosure:
    """Two probes a minute; 60 to 80 %RH by day, 70 to 95 by night in the canopy, critical 50."""
    return Enclosure.model_validate(
        {
            "id": "cube",
            "name": "Cube",
            "room": "somewhere",
            "probe": [{"id": "canopy", "zone": "canopy"}, {"id": "floor", "zone": "floor"}],
            "range": {
                "canopy": {
                    "day": {"humidity": [60, 80]},
                    "night": {"humidity": [70, 95]},
                    "critical": {"humidity": [50, 100]},
                }
            },
        }
        | more
    )


def track(at_ms: Sequence[int], value: Sequence[float] | float, reason: int = Reason.OK) -> Track:
    """A stored series."""
    times = np.array(at_ms, np.int64)
    values = np.broadcast_to(np.array(value, np.float64), times.shape)
    return Track(times, values, np.full(len(times), reason, np.uint8))


def minutes(first: int, last: int) -> list[int]:
    """Times a minute apart, counted from the start."""
    return [START_MS + MINUTE_MS * n for n in range(first, last)]


def parts(tracks: Mapping[SeriesKey, Track], ends: Sequence[int]) -> Iterator[Part]:
    """The tracks cut at the given times."""
    begin = START_MS - 10 * DAY_MS
    for end in ends:
        yield Part(end, {key: each.between(begin, end) for key, each in tracks.items()})
        begin = end


def live(rules: Sequence[Regime], tracks: Mapping[SeriesKey, Track], end_ms: int) -> list[Alarm]:
    """What the desk makes of the readings one by one, with a look at the clock every second."""
    series = {key: number for number, key in enumerate(tracks)}
    desk, _ = AlarmDesk.load(
        rules[0].rules,
        memories={},
        alarms=(),
        last_used={},
        series=series,
        now_ms=START_MS,
        # As in a rehearsal, which waits for a probe's first word.
        heard=dict.fromkeys([("cube", "canopy"), ("cube", "floor")], NOT_YET_MS),
    )
    arriving: dict[int, list[tuple[int, float, int]]] = {}
    for key, each in tracks.items():
        for at_ms, value, reason in zip(each.at_ms, each.value, each.reason, strict=True):
            arriving.setdefault(int(at_ms), []).append((series[key], float(value), int(reason)))
    found: dict[str, Alarm] = {}
    for now_ms in range(START_MS, end_ms, SECOND_MS):
        if now_ms in arriving:
            number, value, reason = zip(*arriving[now_ms], strict=True)
            changes = desk.step(
                Readings(
                    np.array(number, np.int64),
                    np.full(len(number), now_ms),
                    np.array(value),
                    np.array(reason, np.uint8),
                ),
                now_ms,
            )
            found |= {alarm.id: alarm for alarm in changes.alarms}
            desk.commit(changes)
        changes = desk.tick(now_ms)
        found |= {alarm.id: alarm for alarm in changes.alarms}
        desk.commit(changes)
    return sorted(found.values(), key=lambda alarm: (alarm.raised_at_ms, alarm.id))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 500),  # seconds to the next reading: now and then the probe is silent
            st.sampled_from([45.0, 55.0, 65.0, 65.0, 75.0, 85.0, 97.0]),
            st.sampled_from([Reason.OK, Reason.OK, Reason.OK, Reason.STEP]),
            st.booleans(),
        ),
        min_size=1,
        max_size=60,
    ),
    st.lists(st.integers(1, 119), max_size=3, unique=True),
)
def test_long_strides_give_what_the_live_watch_gives(
    told: list[tuple[int, float, Reason, bool]], cuts: list[int]
) -> None:
    """Same alarms, same ids, same states and times, wherever the readings are cut into parts."""
    times = START_MS + SECOND_MS * np.cumsum([gap for gap, *_ in told])
    second = [twice for *_, twice in told]
    humidity = Track(
        times,
        np.array([value for _, value, *_ in told]),
        np.array([reason for *_, reason, _ in told], np.uint8),
    )
    tracks = {
        SeriesKey("cube", "canopy", HUMIDITY): humidity,
        SeriesKey("cube", "canopy", Quantity.TEMPERATURE): track(times[second].tolist(), 23.0),
        SeriesKey("cube", "floor", HUMIDITY): track(minutes(0, 400), 80.0),
    }
    end_ms = int(times[-1]) + 20 * MINUTE_MS
    rules = regimes(cube(), NOBODY, FAST, START_MS, end_ms)
    ends = [*sorted(START_MS + cut * MINUTE_MS for cut in cuts), end_ms]
    ends = [end for end in ends if end <= end_ms]
    rehearsed = list(rehearse(rules, parts(tracks, ends), START_MS).raised)

    assert rehearsed == live(rules, tracks, end_ms)


def test_only_calls_are_counted_as_called() -> None:
    """A warning that a critical alarm eclipses from the start is raised and calls nobody."""
    dry = [75.0] * 60 + [45.0] * 60 + [75.0] * 60
    tracks = {SeriesKey("cube", "canopy", HUMIDITY): track(minutes(0, 180), dry)}
    end_ms = START_MS + 3 * HOUR_MS
    rules = regimes(cube(), NOBODY, AlarmSettings(), START_MS, end_ms)

    run = rehearse(rules, [Part(end_ms, tracks)], START_MS)

    told = [(str(alarm.point), alarm.called, alarm.state) for alarm in run.raised]
    assert told == [
        ("cube.canopy.humidity.critical-low", True, State.RETURNED),
        ("cube.canopy.humidity.low", False, State.NORMAL),
    ]
    assert run.readings == 180
    assert run.first_ms == START_MS
    assert run.heard == {"canopy"}


def test_what_a_mister_does_is_excused_as_it_was() -> None:
    """Too humid for half an hour after a reported misting calls nobody; without it, it does."""
    wet = [75.0] * 60 + [99.0] * 30 + [75.0] * 60
    tracks = {SeriesKey("cube", "canopy", HUMIDITY): track(minutes(0, 150), wet)}
    end_ms = START_MS + 150 * MINUTE_MS
    rules = regimes(cube(), NOBODY, AlarmSettings(), START_MS, end_ms)
    misting = [
        ("cube", "mister", START_MS + 60 * MINUTE_MS, True),
        ("cube", "mister", START_MS + 61 * MINUTE_MS, False),
    ]

    def calls(switches: list[tuple[str, str, int, bool]]) -> list[bool]:
        run = rehearse(rules, [Part(end_ms, tracks)], START_MS, switches)
        return [alarm.called for alarm in run.raised]

    assert calls([]) == [True]
    assert calls(misting) == [False]


def test_a_silence_across_parts_is_one_alarm() -> None:
    """Raised five minutes after the last word, over with the next, dated from the last word."""
    at_ms = [*minutes(0, 60), *minutes(500, 520)]
    tracks = {SeriesKey("cube", "floor", HUMIDITY): track(at_ms, 80.0)}
    ends = [START_MS + HOUR_MS * n for n in range(1, 12)]
    rules = regimes(cube(), NOBODY, AlarmSettings(), START_MS, ends[-1])

    first, last = rehearse(rules, parts(tracks, ends), START_MS).raised

    assert str(first.point) == "cube.floor.silent"
    assert first.since_ms == at_ms[59]
    assert first.raised_at_ms == at_ms[59] + 5 * MINUTE_MS
    assert first.returned_at_ms == at_ms[60]
    assert last.since_ms == at_ms[-1]
    assert last.standing


def test_a_probe_that_was_not_there_is_not_silent() -> None:
    """One that never sent anything raises nothing, one that came later counts from then."""
    tracks = {SeriesKey("cube", "floor", HUMIDITY): track(minutes(600, 700), 80.0)}
    end_ms = START_MS + 700 * MINUTE_MS
    rules = regimes(cube(), NOBODY, AlarmSettings(), START_MS, end_ms)

    run = rehearse(rules, parts(tracks, [START_MS + HOUR_MS, end_ms]), START_MS)

    assert run.raised == ()
    assert run.heard == {"floor"}


def test_what_stood_before_is_not_raised_anew() -> None:
    """The lead-in knows that it was dry already; without it the span would begin with an alarm."""
    tracks = {SeriesKey("cube", "canopy", HUMIDITY): track(minutes(0, 600), 55.0)}
    end_ms, start_ms = START_MS + 600 * MINUTE_MS, START_MS + 5 * HOUR_MS
    rules = regimes(cube(), NOBODY, AlarmSettings(), START_MS, end_ms)

    assert rehearse(rules, [Part(end_ms, tracks)], start_ms).raised == ()
    assert len(rehearse(rules, [Part(end_ms, tracks)], START_MS).raised) == 1


def test_ranges_change_with_the_month_at_the_enclosures_midnight() -> None:
    """A species with seasons gives a regime for each month in which its range differs."""
    library = load_library()
    seasonal = [each for each in library if library.profile(each).season]
    assert seasonal, "some profile has seasons"
    lisbon = cube(
        timezone="Europe/Lisbon", inhabitant=[{"species": each} for each in seasonal[:1]], range={}
    )
    start_ms = parse_rfc3339("2026-01-01T00:00:00Z")

    found = regimes(lisbon, library, AlarmSettings(), start_ms, start_ms + 365 * DAY_MS)

    clock = lisbon.zone_info
    begins = [dt.datetime.fromtimestamp(each.from_ms / 1000, clock) for each in found]
    assert len(found) > 1
    assert all((when.day, when.hour, when.minute) == (1, 0, 0) for when in begins)
    assert all(a.rules != b.rules for a, b in pairwise(found))


def test_new_rules_take_over_where_they_begin() -> None:
    """Dry all along: the alarm comes twenty minutes after the stricter rules came into force."""
    tracks = {SeriesKey("cube", "canopy", HUMIDITY): track(minutes(0, 600), 65.0)}
    end_ms, change_ms = START_MS + 600 * MINUTE_MS, START_MS + 300 * MINUTE_MS + 7
    lax, strict = (
        regimes(
            cube(range={"canopy": {w: {"humidity": [low, 95]} for w in ("day", "night")}}),
            NOBODY,
            AlarmSettings(),
            START_MS,
            end_ms,
        )[0].rules
        for low in (50, 70)
    )

    run = rehearse(
        [Regime(START_MS, lax), Regime(change_ms, strict)],
        parts(tracks, [START_MS + 200 * MINUTE_MS, end_ms]),
        START_MS,
    )

    (only,) = run.raised
    assert only.since_ms == START_MS + 301 * MINUTE_MS
    assert only.raised_at_ms == START_MS + 321 * MINUTE_MS


@pytest.mark.parametrize("days", [0, 1])
def test_nothing_recorded_is_nothing_raised(days: int) -> None:
    """Neither an empty span nor one without readings fails."""
    end_ms = START_MS + DAY_MS
    rules = regimes(cube(), NOBODY, AlarmSettings(), START_MS, end_ms)

    run = rehearse(rules, [Part(end_ms, {})] * days, START_MS)

    assert (run.raised, run.readings, run.first_ms, run.heard) == ((), 0, None, frozenset())
