"""The promises of the port, kept by every engine alike."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.air import derive
from monitor.errors import StoreError
from monitor.quality import Reason
from monitor.quantities import DERIVED_UNITS, Quantity
from monitor.store.many import many
from monitor.store.readings import Buckets, Floats, Ints, Readings, SeriesKey, Track
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from tests.store.engines import START_MS, Probe

FAR_MS = 400 * DAY_MS

examples = settings(
    deadline=None, max_examples=100, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def brute_force(at_ms: Ints, value: Floats, width_s: int) -> list[tuple[int, float, float, int]]:
    """Start, lowest, highest and number of each bucket, by a plain loop."""
    found: dict[int, list[float]] = {}
    for at, each in zip(at_ms.tolist(), value.tolist(), strict=True):
        found.setdefault(at - at % (width_s * SECOND_MS), []).append(each)
    return [(start, min(v), max(v), len(v)) for start, v in sorted(found.items())]


def assert_exact(buckets: Buckets, at_ms: Ints, value: Floats) -> None:
    """The buckets hold these readings and no others, each in its place."""
    rows = zip(
        buckets.at_ms.tolist(),
        buckets.low.tolist(),
        buckets.high.tolist(),
        buckets.count.tolist(),
        strict=True,
    )
    assert list(rows) == brute_force(at_ms, value, buckets.resolution_s)
    totals = np.array(
        [
            value[(at_ms >= start) & (at_ms < start + buckets.resolution_s * SECOND_MS)].mean()
            for start in buckets.at_ms
        ]
    )
    # Sums in another order: a few last digits.
    np.testing.assert_allclose(buckets.mean, totals, rtol=1e-12, atol=1e-12)


def _columns(track: Track) -> tuple[list[int], list[float], list[int]]:
    return track.at_ms.tolist(), track.value.tolist(), track.reason.tolist()


def test_series_keep_their_ids(probe: Probe) -> None:
    """Asking again, in another order, gives the same ids; different series have different ones."""
    keys = [probe.key(Quantity.TEMPERATURE), probe.key(Quantity.HUMIDITY)]

    ids = probe.store.series_ids(keys)

    assert len(set(ids)) == 2
    assert probe.store.series_ids(keys[::-1]) == ids[::-1]
    assert {key: probe.store.known_series()[key] for key in keys} == dict(
        zip(keys, ids, strict=True)
    )


def test_only_measured_series_are_known(probe: Probe) -> None:
    """A pair allows derived quantities, which are neither listed nor given an id to store under."""
    probe.series(Quantity.TEMPERATURE)
    probe.series(Quantity.HUMIDITY)

    known = {key.quantity for key in probe.store.known_series() if key.place == probe.key().place}

    assert known == {Quantity.TEMPERATURE, Quantity.HUMIDITY}
    with pytest.raises(StoreError, match="dew_point: derived"):
        probe.store.series_ids([probe.key(Quantity.DEW_POINT)])


def test_what_went_in_comes_out(probe: Probe) -> None:
    """A track has each reading with its time, value and reason, and nothing outside the span."""
    probe.keep([0, 30_000, 60_000, 90_000], [21.5, 21.25, -3.0, 0.1], [0, 1, 16, 0])

    track = probe.track(0, 90_000)

    assert track.at_ms.tolist() == [START_MS, START_MS + 30_000, START_MS + 60_000]
    assert track.value.tolist() == [21.5, 21.25, -3.0]
    assert track.reason.tolist() == [Reason.OK, Reason.STEP, Reason.LIMIT]


def test_unknown_series_are_empty(probe: Probe) -> None:
    """A series that never had a reading has an empty track and no buckets."""
    nowhere = SeriesKey("nowhere", "canopy", Quantity.DEW_POINT)

    assert len(probe.store.track(nowhere, 0, START_MS)) == 0
    assert len(probe.store.buckets(nowhere, 0, START_MS, 100).at_ms) == 0
    assert probe.latest() is None


@pytest.mark.parametrize("span", [(0, 0), (60_000, 0)])
def test_an_empty_span_is_empty(probe: Probe, span: tuple[int, int]) -> None:
    """Nothing lies between a time and itself, or an earlier one."""
    probe.keep([0, 60_000], 20.0)

    assert len(probe.track(*span)) == 0
    assert len(probe.buckets(*span, 10).at_ms) == 0


def test_the_first_one_kept_wins(probe: Probe) -> None:
    """A second reading of the same time changes nothing, in one batch, in the next, or later on."""
    probe.keep([0, 0], [20.0, 99.0])
    probe.keep(0, 98.0)
    probe.tidy(DAY_MS)
    probe.keep(0, 97.0)
    probe.tidy(2 * DAY_MS)

    track = probe.track(0, 1)
    day = probe.buckets(-FAR_MS, FAR_MS, 10)

    assert track.value.tolist() == [20.0]
    assert (day.count.sum(), day.high.max()) == (1, 20.0)


def test_a_whole_redelivery_changes_nothing(probe: Probe) -> None:
    """Sending everything twice gives the same track, buckets and latest as sending it once."""
    at = np.arange(0, 3 * HOUR_MS, MINUTE_MS)
    probe.keep(at, at / HOUR_MS)
    before = probe.buckets(0, 3 * HOUR_MS, 10)
    probe.tidy(DAY_MS)

    probe.keep(at, at / HOUR_MS + 1.0)
    after = probe.buckets(0, 3 * HOUR_MS, 10)

    assert after.count.tolist() == before.count.tolist()
    assert after.high.tolist() == before.high.tolist()
    assert len(probe.track(0, 3 * HOUR_MS)) == len(at)
    assert probe.latest() == (START_MS + at[-1], at[-1] / HOUR_MS, Reason.OK)


def test_series_do_not_mix(new_probe: Callable[[], Probe]) -> None:
    """Two probes with readings at the same time keep their own values."""
    one, other = new_probe(), new_probe()
    one.keep([0, 1000], 20.0)
    other.keep([0, 1000], 30.0)

    assert one.track(0, 2000).value.tolist() == [20.0, 20.0]
    assert other.track(0, 2000).value.tolist() == [30.0, 30.0]


def test_late_readings_take_their_place(probe: Probe) -> None:
    """Readings may arrive in any order, and hours late: the track is sorted, the buckets whole."""
    probe.keep([2 * HOUR_MS, 0], [22.0, 20.0])
    probe.tidy(DAY_MS)
    probe.keep(HOUR_MS, 21.0)
    probe.keep([HOUR_MS + 1, 1], [21.5, 20.5])

    for _ in ("logged", "tidied"):
        track = probe.track(0, 3 * HOUR_MS)
        hourly = probe.buckets(0, 3 * HOUR_MS, 3)
        assert track.value.tolist() == [20.0, 20.5, 21.0, 21.5, 22.0]
        assert np.diff(track.at_ms).min() > 0
        assert hourly.resolution_s == 3600
        assert hourly.count.tolist() == [2, 2, 1]
        assert hourly.mean.tolist() == [20.25, 21.25, 22.0]
        probe.tidy(2 * DAY_MS)


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_what_is_no_number_is_refused(probe: Probe, value: float) -> None:
    """NaN and infinities are refused with their whole batch, so nothing half is kept."""
    with pytest.raises(StoreError, match=rf"{value}.*finite"):
        probe.keep([0, 1000], [20.0, value])

    assert len(probe.track(0, 2000)) == 0
    assert probe.latest() is None


def test_unknown_ids_are_refused(probe: Probe) -> None:
    """A reading of a series that nobody asked an id for is a mistake, not a new series."""
    stray = probe.readings(0, 20.0)

    with pytest.raises(StoreError, match="no such series"):
        probe.store.append(
            Readings(stray.series + 1_000_000, stray.at_ms, stray.value, stray.reason)
        )


def test_appending_nothing_is_nothing(probe: Probe) -> None:
    """An empty batch is welcome."""
    probe.keep([], [])

    assert len(probe.track(-FAR_MS, FAR_MS)) == 0


def test_latest_is_the_newest_by_its_own_time(probe: Probe) -> None:
    """The reading with the latest time counts, not the one that came last."""
    probe.keep([60_000, 90_000], [21.0, 22.0])
    probe.keep(0, 20.0)

    assert probe.latest() == (START_MS + 90_000, 22.0, Reason.OK)


def test_latest_passes_over_bad_readings(probe: Probe) -> None:
    """A bad reading is never the latest; a suspect one is, and carries its reason."""
    probe.keep([0, 30_000], 20.0, [0, Reason.STEP])
    probe.keep(60_000, 120.0, Reason.LIMIT)

    assert probe.latest() == (START_MS + 30_000, 20.0, Reason.STEP)


def test_a_good_repeat_does_not_replace_a_bad_reading(probe: Probe) -> None:
    """The bad one was kept first, so the good one of the same time was not kept at all."""
    probe.keep([0, 60_000], [20.0, 120.0], [0, Reason.LIMIT])
    probe.keep(60_000, 21.0)

    assert probe.latest() == (START_MS, 20.0, Reason.OK)


def test_latest_finds_a_late_reading_before_a_bad_one(probe: Probe) -> None:
    """A good reading that is older than the newest, bad one is still the newest good one."""
    probe.keep([0, 60_000], [20.0, 120.0], [0, Reason.LIMIT])
    probe.keep(30_000, 21.0)

    assert probe.latest() == (START_MS + 30_000, 21.0, Reason.OK)


@examples
@given(
    batches=st.lists(
        st.lists(
            st.tuples(st.integers(0, 12), st.integers(0, 9), st.sampled_from((0, 1, 16))),
            max_size=8,
        ),
        max_size=5,
    )
)
def test_latest_is_the_last_usable_one_of_the_track(
    new_probe: Callable[[], Probe], batches: list[list[tuple[int, int, int]]]
) -> None:
    """Whatever came twice, late or bad: latest is what the track ends with, bad ones aside."""
    probe = new_probe()
    for batch in batches:
        columns = np.array(batch, np.int64).reshape(-1, 3).T
        probe.keep(columns[0], columns[1], columns[2])

        track = probe.track(0, 13)
        usable = [row for row in zip(*_columns(track), strict=True) if row[2] < 16]

        assert probe.latest() == (usable[-1] if usable else None)


def test_few_readings_come_raw(probe: Probe) -> None:
    """As many readings as points asked for come as they are: resolution 0, ends as asked."""
    probe.keep([0, 1000, 2000, 3000], [20.0, 21.0, 22.0, 23.0])

    few = probe.buckets(1000, 3001, 3)
    fewer = probe.buckets(1000, 3001, 2)

    assert few.resolution_s == 0
    assert few.at_ms.tolist() == [START_MS + 1000, START_MS + 2000, START_MS + 3000]
    assert few.mean.tolist() == few.low.tolist() == few.high.tolist() == [21.0, 22.0, 23.0]
    assert few.count.tolist() == [1, 1, 1]
    assert fewer.resolution_s > 0
    assert len(fewer.at_ms) <= 2


def test_a_rare_series_comes_raw_over_a_long_span(probe: Probe) -> None:
    """What counts is how many readings there are, not how long the span is."""
    probe.keep(np.arange(5) * 20 * DAY_MS, 20.0)
    probe.tidy(FAR_MS)

    assert probe.buckets(0, 100 * DAY_MS, 5).resolution_s == 0
    assert probe.buckets(0, 100 * DAY_MS, 4).resolution_s > 0


def test_neighbours_of_the_span_do_not_count(probe: Probe) -> None:
    """Whether a span is drawn raw depends on its own readings, not on those of its first hour."""
    probe.keep(np.arange(0, 2 * HOUR_MS, MINUTE_MS), 20.0)

    for _ in ("logged", "tidied"):
        buckets = probe.buckets(57 * MINUTE_MS, 2 * HOUR_MS, 63)
        assert buckets.resolution_s == 0
        assert len(buckets.at_ms) == 63
        probe.tidy(DAY_MS)


def test_extremes_are_kept(probe: Probe) -> None:
    """One reading of one minute shows as the highest of its bucket in a whole year."""
    at = np.arange(0, 30 * DAY_MS, 10 * MINUTE_MS)
    value = np.full(len(at), 24.0)
    value[1234] = 41.5
    probe.keep(at, value)
    probe.tidy(31 * DAY_MS)

    year = probe.buckets(-300 * DAY_MS, 65 * DAY_MS, 300)

    assert year.high.max() == 41.5
    assert year.low.min() == 24.0
    assert year.count.sum() == len(at)


def test_gaps_stay_empty(probe: Probe) -> None:
    """Where nothing was measured there is no bucket, rather than one of zeros."""
    at = np.concatenate((np.arange(0, HOUR_MS, 1000), np.arange(9 * HOUR_MS, 10 * HOUR_MS, 1000)))
    probe.keep(at, 20.0)

    for tidied in (False, True):
        hourly = probe.buckets(0, 10 * HOUR_MS, 10)
        assert hourly.at_ms.tolist() == [START_MS, START_MS + 9 * HOUR_MS], f"{tidied=}"
        probe.tidy(DAY_MS)


def test_bad_readings_are_in_no_bucket(probe: Probe) -> None:
    """A bad reading moves no mean, no extreme and no count; a suspect one does."""
    at = np.arange(0, 2 * HOUR_MS, MINUTE_MS)
    value, reason = np.full(len(at), 20.0), np.zeros(len(at), np.uint8)
    value[3], reason[3] = 900.0, Reason.LIMIT
    value[4], reason[4] = 30.0, Reason.STEP
    probe.keep(at, value, reason)

    for tidied in (False, True):
        for points in (2, 30, 1000):
            buckets = probe.buckets(0, 2 * HOUR_MS, points)
            assert buckets.high.max() == 30.0, f"{tidied=} {points=}"
            assert buckets.count.sum() == len(at) - 1, f"{tidied=} {points=}"
        probe.tidy(DAY_MS)


def test_a_mean_lies_between_the_extremes(probe: Probe) -> None:
    """Also for values whose sum cannot be divided back exactly."""
    probe.keep([0, 1000, 2000], 0.1)

    hour = probe.buckets(0, HOUR_MS, 1)

    assert hour.low[0] <= hour.mean[0] <= hour.high[0]


@pytest.mark.parametrize("quantity", DERIVED_UNITS)
def test_derived_series_follow_from_pairs(probe: Probe, quantity: Quantity) -> None:
    """A derived reading stands where temperature and humidity were both measured, and only there.

    Its value is that of ``air.derive``, which has its own checks against published tables.
    """
    probe.keep([0, 1000, 2000, 4000], [20.0, 21.0, 22.0, 24.0])
    probe.keep([0, 2000, 3000, 4000], [50.0, 60.0, 70.0, 80.0], quantity=Quantity.HUMIDITY)

    expected = getattr(derive(np.array([20.0, 22.0, 24.0]), np.array([50.0, 60.0, 80.0])), quantity)
    for tidied in (False, True):
        track = probe.track(0, 5000, quantity)
        assert (track.at_ms - START_MS).tolist() == [0, 2000, 4000], f"{tidied=}"
        np.testing.assert_allclose(track.value, expected, rtol=1e-12)
        probe.tidy(DAY_MS)


def test_the_worse_reason_counts_for_a_derived_reading(probe: Probe) -> None:
    """Suspect and good make suspect; bad and anything make bad, which is in no bucket."""
    at = [0, 1000, 2000, 3000]
    probe.keep(at, 20.0, [0, 0, Reason.LIMIT, 0])
    probe.keep(at, 50.0, [0, Reason.FLAT, Reason.STEP, Reason.LIMIT], Quantity.HUMIDITY)

    for _ in ("logged", "tidied"):
        track = probe.track(0, 4000, Quantity.DEW_POINT)
        hour = probe.buckets(0, HOUR_MS, 1, Quantity.DEW_POINT)
        assert track.reason.tolist() == [Reason.OK, Reason.FLAT, Reason.LIMIT, Reason.LIMIT]
        assert hour.count.tolist() == [2]
        probe.tidy(DAY_MS)


def test_derived_buckets_are_not_made_of_averages(probe: Probe) -> None:
    """Half an hour cool and moist, half an hour hot and dry: the mean deficit is that of the air.

    The deficit of the averaged temperature and humidity would be two fifths too small, since
    saturation curves upward and the two go against each other.
    """
    at = np.arange(0, HOUR_MS, MINUTE_MS)
    hot = at >= HOUR_MS // 2
    temperature, humidity = np.where(hot, 35.0, 15.0), np.where(hot, 20.0, 95.0)
    probe.keep(at, temperature)
    probe.keep(at, humidity, quantity=Quantity.HUMIDITY)
    per_reading = derive(temperature, humidity).vapour_pressure_deficit.mean()
    of_averages = derive(np.array([25.0]), np.array([57.5])).vapour_pressure_deficit[0]

    for _ in ("logged", "tidied"):
        hour = probe.buckets(0, HOUR_MS, 1, Quantity.VAPOUR_PRESSURE_DEFICIT)
        assert hour.mean[0] == pytest.approx(per_reading, rel=1e-12)
        assert of_averages < 0.6 * hour.mean[0]
        probe.tidy(DAY_MS)


def test_a_late_partner_completes_derived_readings(probe: Probe) -> None:
    """Humidity that arrives a day after its temperature makes the derived readings of that hour."""
    at = np.arange(0, 2 * HOUR_MS, MINUTE_MS)
    probe.keep(at, 20.0)
    probe.series(Quantity.HUMIDITY)
    probe.tidy(DAY_MS)
    probe.keep(at[:90], 50.0, quantity=Quantity.HUMIDITY)

    for _ in ("logged", "tidied"):
        hourly = probe.buckets(0, 2 * HOUR_MS, 2, Quantity.DEW_POINT)
        assert hourly.count.tolist() == [60, 30]
        probe.tidy(2 * DAY_MS)


def test_dry_air_has_no_dew_point(probe: Probe) -> None:
    """At 0 %RH there is no dew point, so no reading of it; the deficit is there."""
    probe.keep([0, 1000], 20.0)
    probe.keep([0, 1000], [0.0, 50.0], quantity=Quantity.HUMIDITY)

    for _ in ("logged", "tidied"):
        assert len(probe.track(0, 2000, Quantity.DEW_POINT)) == 1
        assert probe.buckets(0, HOUR_MS, 1, Quantity.DEW_POINT).count.tolist() == [1]
        assert len(probe.track(0, 2000, Quantity.VAPOUR_PRESSURE_DEFICIT)) == 2
        probe.tidy(DAY_MS)


def test_buckets_reach_over_the_ends_in_whole(probe: Probe) -> None:
    """The first and last bucket hold all their readings, also those outside what was asked for."""
    at = np.arange(0, 4 * HOUR_MS, MINUTE_MS)
    probe.keep(at, at / MINUTE_MS)

    for _ in ("logged", "tidied"):
        hourly = probe.buckets(HOUR_MS // 2, 3 * HOUR_MS + 1, 4)
        assert hourly.resolution_s == 3600
        assert hourly.count.tolist() == [60, 60, 60, 60]
        assert hourly.low.tolist() == [0.0, 60.0, 120.0, 180.0]
        probe.tidy(DAY_MS)


@examples
@given(data=st.data(), points=st.sampled_from((1, 2, 3, 5, 10, 40)), derived=st.booleans())
def test_buckets_hold_exactly_their_readings(
    new_probe: Callable[[], Probe], data: st.DataObject, points: int, derived: bool
) -> None:
    """Whatever arrives in whatever order, tidied in between or not, buckets equal a plain loop.

    Two series get random batches with repeats; housekeeping happens at random times.
    """
    probe = new_probe()
    kept: dict[Quantity, dict[int, tuple[float, int]]] = {
        Quantity.TEMPERATURE: {},
        Quantity.HUMIDITY: {},
    }
    minutes = st.integers(0, 60 * data.draw(st.sampled_from((1, 5, 200))))
    batch = st.lists(
        st.tuples(minutes, st.integers(1, 99), st.sampled_from((0, 0, 0, 1, 16))), max_size=40
    )
    for _ in range(data.draw(st.integers(1, 5))):
        for measured, known in kept.items():
            rows = data.draw(batch)
            at = [minute * MINUTE_MS for minute, _, _ in rows]
            probe.keep(at, [v / 2 for _, v, _ in rows], [r for _, _, r in rows], measured)
            for each, (_, doubled, reason) in zip(at, rows, strict=True):
                known.setdefault(START_MS + each, (doubled / 2, reason))
        if data.draw(st.booleans()):
            probe.tidy(data.draw(st.one_of(minutes, st.just(60 * 300))) * MINUTE_MS)
    start, end = sorted((data.draw(minutes), data.draw(minutes)))

    temperature, humidity = kept[Quantity.TEMPERATURE], kept[Quantity.HUMIDITY]
    chosen = sorted(temperature.keys() & humidity.keys() if derived else temperature)
    at_ms = np.array(
        [t for t in chosen if temperature[t][1] < 16 and (not derived or humidity[t][1] < 16)],
        np.int64,
    )
    value = np.array([temperature[t][0] for t in at_ms.tolist()])
    quantity = Quantity.TEMPERATURE
    if derived:
        quantity = Quantity.VAPOUR_PRESSURE_DEFICIT
        moist = np.array([humidity[t][0] for t in at_ms.tolist()])
        value = derive(value, moist).vapour_pressure_deficit
    buckets = probe.buckets(start * MINUTE_MS, end * MINUTE_MS, points, quantity)

    asked = (at_ms >= START_MS + start * MINUTE_MS) & (at_ms < START_MS + end * MINUTE_MS)
    assert len(buckets.at_ms) <= points
    if buckets.resolution_s == 0:
        assert buckets.at_ms.tolist() == at_ms[asked].tolist()
        assert buckets.mean.tolist() == value[asked].tolist()
    else:
        assert asked.sum() > points
        width_ms = buckets.resolution_s * SECOND_MS
        covered = (at_ms >= (START_MS + start * MINUTE_MS) // width_ms * width_ms) & (
            at_ms < -(-(START_MS + end * MINUTE_MS) // width_ms) * width_ms
        )
        assert_exact(buckets, at_ms[covered], value[covered])


def test_old_readings_can_be_forgotten(probe: Probe) -> None:
    """Expiring drops what lies whole hours before, never anything younger, and says how much."""
    at = np.arange(0, 10 * HOUR_MS, MINUTE_MS)
    probe.keep(at, 20.0)
    probe.tidy(2 * DAY_MS)

    went = probe.store.expire(START_MS + 4 * HOUR_MS)
    probe.engine.settle()

    assert went == 240
    assert len(probe.track(0, 4 * HOUR_MS)) == 0
    assert len(probe.track(0, DAY_MS)) == 360
    assert probe.store.expire(START_MS + 4 * HOUR_MS) == 0


@pytest.mark.parametrize("quantity", [Quantity.TEMPERATURE, Quantity.VAPOUR_PRESSURE_DEFICIT])
def test_forgotten_hours_are_still_drawn(probe: Probe, quantity: Quantity) -> None:
    """Buckets of whole hours stay exactly as they were, also across the edge of what is left."""
    at = np.arange(0, 10 * HOUR_MS, MINUTE_MS)
    reason = np.where(at % HOUR_MS == 0, Reason.LIMIT, Reason.OK)
    probe.keep(at, 20 + at / DAY_MS, reason)
    probe.keep(at, 50.0, quantity=Quantity.HUMIDITY)
    probe.tidy(2 * DAY_MS)
    before = probe.buckets(0, 10 * HOUR_MS, 10, quantity)

    probe.store.expire(START_MS + 4 * HOUR_MS)
    probe.engine.settle()

    after = probe.buckets(0, 10 * HOUR_MS, 10, quantity)
    finer = probe.buckets(0, 10 * HOUR_MS, 1000, quantity)
    for buckets in (after, finer):
        assert buckets.resolution_s == before.resolution_s == 3600
        assert buckets.at_ms.tolist() == before.at_ms.tolist()
        assert buckets.count.tolist() == before.count.tolist() == [59] * 10
        assert buckets.low.tolist() == pytest.approx(before.low.tolist(), rel=1e-12)
        assert buckets.high.tolist() == pytest.approx(before.high.tolist(), rel=1e-12)
        np.testing.assert_allclose(buckets.mean, before.mean, rtol=1e-12)
    assert probe.buckets(4 * HOUR_MS, 5 * HOUR_MS, 60, quantity).resolution_s == 0


def test_nothing_comes_back_into_a_forgotten_hour(probe: Probe) -> None:
    """Nobody could tell a late reading from the repeat of one that was forgotten."""
    at = np.arange(0, 10 * HOUR_MS, MINUTE_MS)
    probe.keep(at, 20.0)
    probe.tidy(2 * DAY_MS)
    probe.store.expire(START_MS + 4 * HOUR_MS)

    probe.keep([HOUR_MS, HOUR_MS + 1, 9 * HOUR_MS + 1], 99.0)
    probe.tidy(3 * DAY_MS)

    hourly = probe.buckets(0, 10 * HOUR_MS, 10)
    assert len(probe.track(0, 4 * HOUR_MS)) == 0
    assert hourly.count.tolist() == [60] * 9 + [61]
    assert hourly.high.tolist() == [20.0] * 9 + [99.0]


def test_a_span_since_ever_is_whole(probe: Probe) -> None:
    """Asked from 1970 on, in one bucket or several: it holds every reading."""
    at = np.arange(0, 40 * DAY_MS, HOUR_MS)
    probe.keep(at, 20 + at / DAY_MS)
    probe.tidy(41 * DAY_MS)

    for points in (1, 2, 100, 700):
        ever = probe.buckets(-START_MS, 41 * DAY_MS, points)
        assert ever.count.sum() == len(at)
        assert (ever.low.min(), ever.high.max()) == (20.0, pytest.approx(20 + at[-1] / DAY_MS))


@pytest.mark.parametrize("tidied_h", [None, 2, 30])
def test_many_are_as_each_alone(
    probe: Probe, new_probe: Callable[[], Probe], tidied_h: int | None
) -> None:
    """Together they have the buckets each has alone: doubtful, bad, late and repeated too."""
    random = np.random.default_rng(3)
    probes = [probe, new_probe(), new_probe()]
    for number, each in enumerate(probes[:2]):
        at = np.arange(0, 5 * HOUR_MS, 20 * SECOND_MS)
        each.keep(at, random.normal(20, 3, len(at)), random.choice([0, 0, 0, 1, 16], len(at)))
        if tidied_h is not None:
            each.tidy(tidied_h * HOUR_MS)
        each.keep([HOUR_MS, HOUR_MS + 1, 4 * HOUR_MS + number], [99.0, 5.0, 7.0])
    keys = [each.key() for each in probes]
    probes[2].series()
    start_ms, end_ms = START_MS + 40 * MINUTE_MS, START_MS + 4 * HOUR_MS + 61_000

    together = many(probe.store, keys, start_ms, end_ms, 900)

    for key in keys[:2]:
        alone = probe.store.buckets(key, start_ms, end_ms, 15)
        assert alone.resolution_s == together[key].resolution_s == 900
        assert together[key].at_ms.tolist() == alone.at_ms.tolist()
        assert together[key].low.tolist() == alone.low.tolist()
        assert together[key].high.tolist() == alone.high.tolist()
        assert together[key].count.tolist() == alone.count.tolist()
        # Sums in another order: a few last digits.
        np.testing.assert_allclose(together[key].mean, alone.mean, rtol=1e-12)
    assert keys[2] not in together or not len(together[keys[2]].at_ms)
    assert many(probe.store, [], start_ms, end_ms, 900) == {}


def test_many_follow_what_comes_late(probe: Probe) -> None:
    """Asked again and again, the answer has every reading that has come, however late."""
    at = np.arange(0, 6 * HOUR_MS, MINUTE_MS)
    probe.keep(at, np.sin(at / HOUR_MS))
    span = START_MS, START_MS + 6 * HOUR_MS
    for late in ([], [HOUR_MS + 1], [0, 3 * HOUR_MS + 7], [5 * HOUR_MS + 59 * MINUTE_MS + 3]):
        if late:
            probe.keep(late, -5.0)
        for tidied_h in (3, 10, 11):
            together = many(probe.store, [probe.key()], *span, 900)[probe.key()]
            alone = probe.store.buckets(probe.key(), *span, 24)
            assert together.count.tolist() == alone.count.tolist()
            assert together.low.tolist() == alone.low.tolist()
            probe.tidy(tidied_h * HOUR_MS)
    probe.store.expire(START_MS + 2 * HOUR_MS)
    assert (
        many(probe.store, [probe.key()], *span, 900)[probe.key()].at_ms[0] == span[0] + 2 * HOUR_MS
    )
