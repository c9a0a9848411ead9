"""Batches judged: limits, calibration, times, steps and flat lines.

All thresholds are common practice, no source; what is tested is the rules.
"""

import copy
from collections.abc import Sequence
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.judge import Memory, Rules, Verdict, judge
from monitor.quality import Quality, Reason
from monitor.quantities import MEASURED, Quantity
from monitor.setup.judging import JudgeSettings
from monitor.setup.models import Correction
from monitor.store.readings import Readings
from monitor.times import HOUR_MS, MINUTE_MS, SECOND_MS

NOW_MS = 1_796_000_000_000
LATER_MS = NOW_MS + 1000 * HOUR_MS
OK, STEP, FLAT, FUTURE, LIMIT = Reason.OK, Reason.STEP, Reason.FLAT, Reason.FUTURE, Reason.LIMIT

Row = tuple[int, int, float]


def batch(rows: Sequence[Row]) -> Readings:
    """Raw readings from (series, epoch ms, value)."""
    return Readings(
        np.array([row[0] for row in rows], np.int64),
        np.array([row[1] for row in rows], np.int64),
        np.array([row[2] for row in rows], np.float64),
        np.zeros(len(rows), np.uint8),
    )


def judged(verdict: Verdict) -> list[tuple[int, int, float, Reason]]:
    """A verdict's readings as rows."""
    kept = verdict.readings
    columns = (kept.series, kept.at_ms, kept.value, kept.reason)
    return [
        (series, at_ms, value, Reason(reason))
        for series, at_ms, value, reason in zip(*(c.tolist() for c in columns), strict=True)
    ]


def rules_for(
    *quantities: Quantity,
    settings: JudgeSettings | None = None,
    corrections: dict[int, Correction] | None = None,
) -> Rules:
    """Rules for series 0, 1, ... of these quantities."""
    return Rules.compiled(
        dict(enumerate(quantities)), corrections or {}, settings or JudgeSettings()
    )


def one(
    quantity: Quantity, raw: float, correction: Correction | None = None
) -> tuple[float, Reason]:
    """Value and reason of a single first reading."""
    rules = rules_for(quantity, corrections={0: correction} if correction else {})
    verdict = judge(rules, Memory(1), batch([(0, NOW_MS, raw)]), NOW_MS)
    ((_, _, value, reason),) = judged(verdict)
    return value, reason


def reasons_of(
    quantity: Quantity,
    stream: Sequence[tuple[int, float]],
    settings: JudgeSettings | None = None,
) -> list[Reason]:
    """Reasons of one series' (seconds, value) stream."""
    rules = rules_for(quantity, settings=settings)
    rows = [(0, NOW_MS + seconds * SECOND_MS, value) for seconds, value in stream]
    return [reason for *_, reason in judged(judge(rules, Memory(1), batch(rows), LATER_MS))]


@pytest.mark.parametrize(
    ("quantity", "raw", "value", "reason"),
    [
        (Quantity.TEMPERATURE, 85.0, 85.0, OK),
        (Quantity.TEMPERATURE, 85.1, 85.1, LIMIT),
        (Quantity.TEMPERATURE, -40.0, -40.0, OK),
        (Quantity.TEMPERATURE, -127.0, -127.0, LIMIT),
        (Quantity.HUMIDITY, 0.0, 0.0, OK),
        (Quantity.HUMIDITY, 100.4, 100.0, OK),
        (Quantity.HUMIDITY, 105.0, 100.0, OK),
        (Quantity.HUMIDITY, 105.1, 105.1, LIMIT),
        (Quantity.HUMIDITY, -5.0, 0.0, OK),
        (Quantity.HUMIDITY, -5.1, -5.1, LIMIT),
        (Quantity.SUBSTRATE_MOISTURE, 103.0, 100.0, OK),
        (Quantity.ILLUMINANCE, -0.1, -0.1, LIMIT),
        (Quantity.SURFACE_TEMPERATURE, 1.7e308, 1.7e308, LIMIT),
    ],
)
def test_what_no_sensor_gives_is_bad(
    quantity: Quantity, raw: float, value: float, reason: Reason
) -> None:
    """Outside the limits a value is bad and kept as it came; a percentage has some slack."""
    assert one(quantity, raw) == (value, reason)


@pytest.mark.parametrize(
    ("quantity", "raw", "correction", "value", "reason"),
    [
        (Quantity.TEMPERATURE, 23.4, Correction(offset=0.3), 23.7, OK),
        (Quantity.TEMPERATURE, 23.123456789, Correction(), 23.123456789, OK),
        (Quantity.TEMPERATURE, 23.123456789, Correction(offset=0.3), 23.423, OK),
        (Quantity.TEMPERATURE, 20.0, Correction(gain=1.1, offset=-1.0), 21.0, OK),
        # two salts at 20 Cel (Greenspan 1977): 33.07 read as 35.2, 75.47 read as 73.9
        (Quantity.HUMIDITY, 50.0, Correction(gain=1.0956072, offset=-5.4953747), 49.285, OK),
        (Quantity.HUMIDITY, 99.0, Correction(offset=4.0), 100.0, OK),
        (Quantity.HUMIDITY, 104.0, Correction(offset=-2.0), 102.0 - 2.0, OK),
        (Quantity.TEMPERATURE, 84.9, Correction(offset=0.5), 85.0, OK),
        (Quantity.TEMPERATURE, 86.0, Correction(offset=-3.0), 86.0, LIMIT),
        (Quantity.TEMPERATURE, -1.7e308, Correction(gain=1.25), -1.7e308, LIMIT),
    ],
)
def test_good_values_are_calibrated(
    quantity: Quantity, raw: float, correction: Correction, value: float, reason: Reason
) -> None:
    """Gain and offset apply to what the sensor can give, to a thousandth; nothing else changes."""
    assert one(quantity, raw, correction) == (value, reason)


@pytest.mark.parametrize(
    ("ahead_s", "kept_at_ms", "reason"),
    [
        (0, NOW_MS, OK),
        (300, NOW_MS + 300 * SECOND_MS, OK),
        (301, NOW_MS, FUTURE),
        (10**9, NOW_MS, FUTURE),
    ],
)
def test_a_time_too_far_ahead_is_replaced(ahead_s: int, kept_at_ms: int, reason: Reason) -> None:
    """More than five minutes ahead of its arrival, a reading is suspect and kept as of then."""
    rules = rules_for(Quantity.TEMPERATURE)
    rows = [(0, NOW_MS + ahead_s * SECOND_MS, 20.0)]

    verdict = judge(rules, Memory(1), batch(rows), NOW_MS)

    assert judged(verdict) == [(0, kept_at_ms, 20.0, reason)]


def test_a_replaced_time_hides_no_reading() -> None:
    """Of a reading from the future and one of the very moment it arrived, the latter is kept."""
    rows = [(0, NOW_MS + HOUR_MS, 60.0), (0, NOW_MS + HOUR_MS, 20.0), (0, NOW_MS, 21.0)]

    verdict = judge(rules_for(Quantity.TEMPERATURE), Memory(1), batch(rows), NOW_MS)

    assert judged(verdict) == [(0, NOW_MS, 21.0, OK)]
    assert verdict.repeated == 2


def test_a_replaced_time_teaches_nothing() -> None:
    """A reading from the future does not make those that follow late, nor judge their step."""
    rules, memory = rules_for(Quantity.TEMPERATURE), Memory(1)
    memory.learn(judge(rules, memory, batch([(0, NOW_MS + HOUR_MS, 60.0)]), NOW_MS).lesson)

    after = judge(rules, memory, batch([(0, NOW_MS - 1, 21.0), (0, NOW_MS, 21.0)]), NOW_MS)

    assert judged(after) == [(0, NOW_MS - 1, 21.0, OK), (0, NOW_MS, 21.0, OK)]
    assert not after.late.any()


def test_a_bad_value_from_the_future_is_bad() -> None:
    """The worse of two reasons is the one that counts."""
    rules = rules_for(Quantity.TEMPERATURE)

    verdict = judge(rules, Memory(1), batch([(0, NOW_MS + HOUR_MS, 99.0)]), NOW_MS)

    assert judged(verdict) == [(0, NOW_MS, 99.0, LIMIT)]


def test_each_time_of_a_series_is_kept_once() -> None:
    """Repeats are dropped and counted, within a batch and after it; the first to arrive wins."""
    rules, memory = rules_for(Quantity.TEMPERATURE, Quantity.HUMIDITY), Memory(2)
    rows = [(1, 5, 60.0), (0, 7, 22.0), (0, 5, 20.0), (0, 5, 21.0), (0, 7, 22.0)]

    first = judge(rules, memory, batch(rows), NOW_MS)
    memory.learn(first.lesson)
    again = judge(rules, memory, batch([(0, 7, 22.0), (0, 8, 22.0), (1, 5, 60.0)]), NOW_MS)

    assert judged(first) == [(0, 5, 20.0, OK), (0, 7, 22.0, OK), (1, 5, 60.0, OK)]
    assert first.position.tolist() == [2, 1, 0]
    assert first.repeated == 2
    assert judged(again) == [(0, 8, 22.0, OK)]
    assert again.repeated == 2


def test_a_batch_of_repeats_leaves_nothing() -> None:
    """A redelivered batch is dropped whole and teaches nothing."""
    rules, memory = rules_for(Quantity.TEMPERATURE), Memory(1)
    memory.learn(judge(rules, memory, batch([(0, 7, 22.0)]), NOW_MS).lesson)

    again = judge(rules, memory, batch([(0, 7, 22.0)]), NOW_MS)

    assert (len(again.readings), again.repeated, len(again.lesson.series)) == (0, 1, 0)


def test_an_empty_batch_is_judged() -> None:
    """No readings in, none out."""
    verdict = judge(rules_for(Quantity.TEMPERATURE), Memory(1), batch([]), NOW_MS)

    assert (len(verdict.readings), verdict.repeated, len(verdict.lesson.series)) == (0, 0, 0)


def test_a_late_reading_is_judged_for_limits_only() -> None:
    """Older than what was judged before: kept, marked late, calibrated, and nothing learnt."""
    rules, memory = rules_for(Quantity.TEMPERATURE), Memory(1)
    memory.learn(judge(rules, memory, batch([(0, NOW_MS, 20.0)]), NOW_MS).lesson)
    before = memory.rows.copy()
    rows = [(0, NOW_MS - 2, 60.0), (0, NOW_MS - 1, 90.0), (0, NOW_MS + 1, 21.0)]

    verdict = judge(rules, memory, batch(rows), NOW_MS)

    assert judged(verdict) == [
        (0, NOW_MS - 2, 60.0, OK),
        (0, NOW_MS - 1, 90.0, LIMIT),
        (0, NOW_MS + 1, 21.0, OK),
    ]
    assert verdict.late.tolist() == [True, True, False]
    only_late = judge(rules, memory, batch(rows[:2]), NOW_MS)
    memory.learn(only_late.lesson)
    assert memory.rows.tobytes() == before.tobytes()


# temperature: at most 10 K within a minute, confirmed within 2.5 K
@pytest.mark.parametrize(
    ("stream", "reasons"),
    [
        pytest.param([(0, 60.0)], [OK], id="the first is believed"),
        pytest.param([(0, 20.0), (5, 30.0)], [OK, OK], id="ten in five seconds is allowed"),
        pytest.param([(0, 20.0), (60, 30.1)], [OK, STEP], id="more is not"),
        pytest.param([(0, 20.0), (120, 39.9)], [OK, OK], id="a longer gap allows more"),
        pytest.param([(0, 20.0), (60, 40.0), (120, 21.0)], [OK, STEP, OK], id="a spike"),
        pytest.param(
            [(0, 20.0), (60, 60.0), (120, 61.0), (180, 62.0)],
            [OK, STEP, OK, OK],
            id="a confirmed move",
        ),
        pytest.param(
            [(0, 20.0), (60, 60.0), (120, 61.0), (180, 20.0)],
            [OK, STEP, OK, STEP],
            id="after which the old level is a jump",
        ),
        pytest.param(
            [(0, 20.0), (60, 60.0), (61, 62.6), (62, 65.1)],
            [OK, STEP, STEP, OK],
            id="not near enough to confirm",
        ),
        pytest.param(
            [(0, 20.0), (10, 80.0), (20, 20.0), (30, 80.0), (40, 20.0)],
            [OK, STEP, OK, STEP, OK],
            id="a loose contact",
        ),
        pytest.param(
            [(0, 20.0), (10, 80.0), (20, 99.0), (30, 20.5)],
            [OK, STEP, LIMIT, OK],
            id="a bad value confirms nothing",
        ),
        pytest.param(
            [(0, 20.0), (10, 99.0), (20, 21.0)], [OK, LIMIT, OK], id="nor does it move the level"
        ),
    ],
)
def test_steps(stream: list[tuple[int, float]], reasons: list[Reason]) -> None:
    """A change further than air can go is suspect until the next reading confirms it."""
    assert reasons_of(Quantity.TEMPERATURE, stream) == reasons


def test_a_jump_is_not_confirmed_for_ever() -> None:
    """A reading near the jump but long after it is a jump of its own, if still out of reach."""
    settings = JudgeSettings(max_step={Quantity.TEMPERATURE: 1.0})

    assert reasons_of(Quantity.TEMPERATURE, [(0, 20.0), (10, 60.0), (310, 60.0)], settings) == [
        OK,
        STEP,
        OK,
    ]
    assert reasons_of(Quantity.TEMPERATURE, [(0, 20.0), (10, 60.0), (311, 60.0)], settings) == [
        OK,
        STEP,
        STEP,
    ]


def every(minutes: int, count: int, value: float) -> list[tuple[int, float]]:
    """A stream of one value."""
    return [(60 * minutes * place, value) for place in range(count)]


@pytest.mark.parametrize(
    ("quantity", "stream", "flat_from"),
    [
        pytest.param(Quantity.TEMPERATURE, every(10, 40, 23.4), 36, id="six hours"),
        pytest.param(Quantity.HUMIDITY, every(10, 40, 72.5), 36, id="humidity too"),
        pytest.param(Quantity.TEMPERATURE, every(20, 25, 23.4), 19, id="and twenty readings"),
        pytest.param(Quantity.HUMIDITY, every(10, 60, 98.9), 36, id="not quite saturated"),
        pytest.param(Quantity.HUMIDITY, every(10, 60, 99.0), None, id="saturated air stands still"),
        pytest.param(Quantity.HUMIDITY, every(10, 60, 101.0), None, id="as does a clamped value"),
        pytest.param(Quantity.SUBSTRATE_MOISTURE, every(10, 60, 35.0), None, id="soil may"),
        pytest.param(Quantity.ILLUMINANCE, every(10, 60, 0.0), None, id="and so may the night"),
    ],
)
def test_flat_lines(
    quantity: Quantity, stream: list[tuple[int, float]], flat_from: int | None
) -> None:
    """Air that does not move for hours is a sensor that hangs."""
    expected = [
        FLAT if flat_from is not None and place >= flat_from else OK for place in range(len(stream))
    ]

    assert reasons_of(quantity, stream) == expected


def test_any_movement_ends_a_flat_line() -> None:
    """A tenth of a degree is a sign of life; the count begins anew."""
    rows = [*every(10, 40, 23.4), (60 * 400, 23.5), (60 * 410, 23.5)]

    assert reasons_of(Quantity.TEMPERATURE, rows)[38:] == [FLAT, FLAT, OK, OK]


def test_judging_changes_nothing_until_the_lesson_is_learnt() -> None:
    """The same batch gives the same verdict again, as after a commit that failed."""
    rules, memory = rules_for(Quantity.TEMPERATURE), Memory(1)
    memory.learn(judge(rules, memory, batch([(0, NOW_MS, 20.0)]), NOW_MS).lesson)
    rows = batch([(0, NOW_MS + 9, 60.0), (0, NOW_MS + 5, 20.5), (0, NOW_MS + 9, 60.0)])
    kept = copy.deepcopy((rules.rows, memory.rows, rows))

    first = judge(rules, memory, rows, NOW_MS)
    second = judge(rules, memory, rows, NOW_MS)

    assert judged(first) == judged(second)
    assert rules.rows.tobytes() == kept[0].tobytes()
    assert memory.rows.tobytes() == kept[1].tobytes()
    for name in ("series", "at_ms", "value", "reason"):
        assert getattr(rows, name).tobytes() == getattr(kept[2], name).tobytes()


QUANTITIES = [Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.HUMIDITY, Quantity.TEMPERATURE]
# Small thresholds, so that short streams meet every rule.
QUICK = JudgeSettings(flat_after_h=0.05, flat_readings=3, confirm_s=90)
RULES = rules_for(*QUANTITIES, settings=QUICK, corrections={3: Correction(gain=1.01, offset=0.3)})
GAPS_MS = st.sampled_from([0, 1, 10 * SECOND_MS, MINUTE_MS, 2 * MINUTE_MS, 10 * MINUTE_MS])
VALUES = st.sampled_from([20.0, 20.5, 22.0, 30.0, 31.5, 60.0, 84.8, 85.5, 99.5, 101.0, 106.0])
STREAM = st.lists(st.tuples(st.integers(0, 3), GAPS_MS, VALUES), max_size=60)


def in_order(stream: list[tuple[int, int, float]]) -> list[Row]:
    """(series, gap, value) as rows whose times never run backwards."""
    at_ms, rows = NOW_MS, []
    for series, gap_ms, value in stream:
        at_ms += gap_ms
        rows.append((series, at_ms, value))
    return rows


def in_pieces(
    rows: list[Row], bounds: list[int]
) -> tuple[list[tuple[int, int, float, Reason]], int, bytes]:
    """What is kept, how many repeats, and the memory, after judging rows cut at ``bounds``."""
    memory, kept, repeated = Memory(len(QUANTITIES)), [], 0
    for start, end in zip([0, *bounds], [*bounds, len(rows)], strict=True):
        verdict = judge(RULES, memory, batch(rows[start:end]), LATER_MS)
        memory.learn(verdict.lesson)
        kept += judged(verdict)
        repeated += verdict.repeated
        assert not verdict.late.any()
    return sorted(kept), repeated, memory.rows.tobytes()


@given(stream=STREAM, cuts=st.lists(st.integers(0, 60), max_size=8))
def test_where_batches_are_cut_does_not_matter(
    stream: list[tuple[int, int, float]], cuts: list[int]
) -> None:
    """A stream in time order gets the same verdicts in one batch, in many, and one by one."""
    rows = in_order(stream)

    whole = in_pieces(rows, [])
    assert in_pieces(rows, sorted(min(cut, len(rows)) for cut in cuts)) == whole
    assert in_pieces(rows, list(range(len(rows)))) == whole


def test_cutting_a_busy_day_does_not_matter() -> None:
    """The same over thousands of readings, among which every verdict but FUTURE occurs."""
    random = np.random.default_rng(1)
    gaps = random.choice([0, MINUTE_MS // 4, MINUTE_MS], 3000, p=[0.1, 0.7, 0.2])
    values = random.choice([20.0, 20.1, 22.0, 60.0, 106.0], 3000, p=[0.6, 0.3, 0.05, 0.04, 0.01])
    rows = in_order(
        list(zip(random.integers(0, 4, 3000).tolist(), gaps.tolist(), values.tolist(), strict=True))
    )

    whole = in_pieces(rows, [])

    assert {reason for *_, reason in whole[0]} == {OK, STEP, FLAT, LIMIT}
    assert in_pieces(rows, list(range(0, 3000, 97))) == whole
    assert in_pieces(rows, list(range(3000))) == whole


@given(stream=STREAM, seed=st.randoms(use_true_random=False))
def test_the_order_within_a_batch_does_not_matter(
    stream: list[tuple[int, int, float]], seed: Random
) -> None:
    """However a batch is shuffled, each series is judged in its own time order."""
    rows = list({row[:2]: row for row in in_order(stream)}.values())
    mixed = rows.copy()
    seed.shuffle(mixed)
    memory = Memory(len(QUANTITIES))

    assert judged(judge(RULES, memory, batch(mixed), LATER_MS)) == judged(
        judge(RULES, memory, batch(rows), LATER_MS)
    )


ANY_TIME = st.integers(-10, 10).map(lambda minutes: NOW_MS + minutes * MINUTE_MS)
ANY_VALUE = st.one_of(VALUES, st.floats(allow_nan=False, allow_infinity=False))
ANY_BATCH = st.lists(st.tuples(st.integers(0, 3), ANY_TIME, ANY_VALUE), max_size=20)


@given(batches=st.lists(ANY_BATCH, max_size=5))
def test_every_reading_is_kept_or_counted(batches: list[list[Row]]) -> None:
    """Nothing is lost, whatever comes in whatever order; what is not bad lies within limits."""
    memory = Memory(len(QUANTITIES))
    for rows in batches:
        verdict = judge(RULES, memory, batch(rows), NOW_MS)
        memory.learn(verdict.lesson)

        kept = judged(verdict)
        assert len(kept) + verdict.repeated == len(rows)
        assert len({row[:2] for row in kept}) == len(kept)
        assert [row[:2] for row in kept] == sorted(row[:2] for row in kept)
        for (series, at_ms, value, reason), position in zip(
            kept, verdict.position.tolist(), strict=True
        ):
            assert rows[position][0] == series
            assert at_ms == (NOW_MS if reason is FUTURE else at_ms)
            assert at_ms <= NOW_MS + RULES.future_ms
            trait = MEASURED[QUANTITIES[series]]
            if reason.quality is Quality.BAD:
                assert value == rows[position][2]
            else:
                assert trait.lowest <= value <= trait.highest


def test_a_probe_that_is_away_says_nothing_about_the_climate() -> None:
    """In a salt box a value may stand still for days; what no sensor gives is still bad."""
    rules = Rules.compiled(
        {0: Quantity.HUMIDITY, 1: Quantity.HUMIDITY}, {}, JudgeSettings(flat_readings=2), {0}
    )
    first_ms = NOW_MS - 12 * HOUR_MS
    rows = [(series, first_ms + hour * HOUR_MS, 75.3) for series in (0, 1) for hour in range(10)]
    rows += [(0, NOW_MS - HOUR_MS, 250.0), (0, NOW_MS + HOUR_MS, 75.3)]

    found = judged(judge(rules, Memory(2), batch(rows), NOW_MS))

    assert {reason for series, *_, reason in found[:10]} == {Reason.AWAY}
    assert [reason for series, at_ms, _, reason in found if series == 0][-2:] == [LIMIT, FUTURE]
    assert {reason for series, *_, reason in found if series == 1} == {OK, FLAT}
