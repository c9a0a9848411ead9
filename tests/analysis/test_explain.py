"""From evidence to a cause in words."""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.analysis.causes import Cause, CauseKind, Evidence, History, Side, explain
from tests.analysis.records import NOW_MS, Column, record, since


def lost(e: Column, ago: Column) -> Column:
    """Two fifths of the water gone within the last hour."""
    return e * np.where(ago < 1.0, 0.6, 1.0)


def heated(t: Column, ago: Column) -> Column:
    """Five kelvin more for an hour."""
    return t + np.where(ago < 1.0, 5.0, 0.0)


USUAL = record(noise=0.2)
DRY = record(vapour=lost, noise=0.2)
HOT = record(temperature=heated, noise=0.2)
ROOM = record(vapour=lambda e, _: 0.5 * e, temperature=lambda t, _: t - 3.0)
DRY_ROOM = record(vapour=lambda e, ago: 0.5 * lost(e, ago), temperature=lambda t, _: t - 3.0)


def answer(target: History, side: Side = Side.LOW, **more: Any) -> Cause:
    """What is said half an hour after the crossing."""
    return explain(Evidence(target, since(0.5), NOW_MS, 62.0, side, **more))


def figures(cause: Cause) -> dict[str, float]:
    """By name."""
    return {figure.name: figure.value for figure in cause.figures}


def test_drying_is_explained_with_its_figures() -> None:
    """Cause, figures, witness and what to check, in words."""
    cause = answer(DRY, others=(DRY,), room=ROOM, misted_ms=())

    assert cause.kind is CauseKind.DRYING
    assert cause.could_be == (CauseKind.DRYING,)
    assert cause.water_share == 1.0
    assert cause.reference == "same hour of 7 days"
    assert re.fullmatch(
        r"Water has left the air: dew point [78]\.\d K below the usual, temperature as usual\. "
        r"The other probe agrees\.",
        cause.says,
    )
    found = figures(cause)
    assert found["dew_point_departure"] == pytest.approx(-7.9, abs=0.5)
    assert found["usual_humidity"] == pytest.approx(USUAL.humidity[-10:].mean(), abs=2.0)
    assert found["other_probes_agree"] == 1.0
    assert found["room_vapour_pressure_departure"] == pytest.approx(0.0, abs=3.0)


def test_a_missed_misting_is_told_and_checked_first() -> None:
    """Where the mister reports, its silence is the first thing to look at."""
    daily = tuple(since(3.0 + 24.0 * day) for day in range(1, 8))

    cause = answer(DRY, others=(DRY,), room=ROOM, misted_ms=daily)

    assert "A usual misting did not come." in cause.says
    assert cause.check_first[0].startswith("mister")


def test_warming_is_told_apart() -> None:
    """Five kelvin warmer, the same water."""
    cause = answer(HOT, others=(USUAL,), room=ROOM)

    assert cause.kind is CauseKind.WARMING
    assert cause.could_be == (CauseKind.WARMING,)
    assert re.match(
        r"The air has warmed: dew point as usual, temperature [45]\.\d K above", cause.says
    )
    assert cause.check_first[0].startswith("heat mat")


def test_a_dry_room_is_named() -> None:
    """The room lost two fifths of its water, and the enclosure followed."""
    half = record(vapour=lambda e, ago: e * np.where(ago < 1.0, 0.75, 1.0), noise=0.2)

    cause = answer(half, others=(half,), room=DRY_ROOM)

    assert cause.kind is CauseKind.ROOM
    assert "40 % less water than usual" in cause.says


def test_a_probe_alone_is_not_believed() -> None:
    """What the neighbour does not feel, the probe made up."""
    cause = answer(DRY, others=(USUAL,), room=ROOM)

    assert cause.kind is CauseKind.PROBE
    assert cause.water_share is None
    assert cause.says.startswith("Only this probe says so (dew point ")


@pytest.mark.parametrize(
    ("others", "room", "could_be", "says"),
    [
        ((DRY,), None, {"drying", "room"}, "the room's air (no probe there)"),
        ((), ROOM, {"drying", "probe"}, "a false reading (no second probe to tell)"),
        ((), None, {"drying", "room", "probe"}, "(no probe there) or a false reading (no second"),
    ],
)
def test_missing_probes_leave_doubt_and_say_so(
    others: tuple[History, ...], room: History | None, could_be: set[str], says: str
) -> None:
    """Never a false certainty: what cannot be told apart is in the set and in the sentence."""
    # Slowly: what falls at once and has no witness is a jump of the probe.
    target = record(vapour=lambda e, ago: e * np.minimum(1.0, 0.6 + 0.2 * ago))

    cause = answer(target, others=others, room=room)

    assert cause.kind is CauseKind.DRYING
    assert set(cause.could_be) == could_be
    assert cause.could_be[0] is cause.kind
    assert says in cause.says


def test_the_usual_course_is_named_as_such() -> None:
    """A limit inside the daily swing is crossed on all days, and today is like them."""
    limit = float(USUAL.humidity[-10:].mean()) + 3.0

    cause = explain(Evidence(USUAL, since(0.5), NOW_MS, limit, others=(USUAL,), room=ROOM))

    assert cause.kind is CauseKind.SWING
    assert "the limit was crossed on 7 of 7 days" in cause.says


def test_the_run_up_answers_when_there_is_no_earlier_day() -> None:
    """A new enclosure: changes over the run-up are told, and that they are all there is."""
    cause = answer(DRY.between(since(14.0), NOW_MS), room=ROOM.between(since(14.0), NOW_MS))

    assert cause.reference == "run-up only"
    assert re.search(r"in \d\.\d h the dew point fell by \d", cause.says)
    assert {CauseKind.DRYING, CauseKind.WARMING, CauseKind.SWING} <= set(cause.could_be)


@pytest.mark.parametrize("minutes", [10, 30, 71, 120])
def test_a_first_hour_gives_no_figures_it_does_not_have(minutes: int) -> None:
    """Right after a probe's first reading nothing is told in numbers that are not there."""
    young = record(days=minutes / 1440, vapour=lambda e, ago: e * np.exp(-0.3 / (0.2 + ago)))

    cause = explain(Evidence(young, since(minutes / 120), NOW_MS, 70.0, others=(young,)))

    assert "nan" not in cause.says
    assert all(np.isfinite(figure.value) for figure in cause.figures)


def test_nothing_recorded_is_no_cause() -> None:
    """A probe that starts with the alarm leaves everything open."""
    cause = explain(Evidence(DRY.between(since(0.2), NOW_MS), since(0.5), NOW_MS, 62.0))

    assert set(cause.could_be) == set(CauseKind)
    assert cause.water_share is None
    assert "Too little was recorded" in cause.says


def test_a_high_alarm_is_told_in_its_own_words() -> None:
    """Names stay the contract's, the sentence says what happened."""
    wet = record(vapour=lambda e, ago: e * np.where(ago < 1.0, 1.25, 1.0), noise=0.2)

    cause = answer(wet, Side.HIGH, others=(wet,), room=ROOM)

    assert cause.kind is CauseKind.DRYING
    assert cause.says.startswith("More water is in the air: dew point ")
    assert cause.check_first[0].startswith("mister: stuck on")


def test_heat_that_is_over_is_told_as_such() -> None:
    """Too warm for half a day, now only dry: the warmth is named, in the past tense."""
    target = record(
        temperature=lambda t, ago: t + np.where((ago > 1.0) & (ago < 10.0), 4.0, 0.0),
        vapour=lambda e, ago: e * np.where(ago < 2.0, 0.7, 1.0),
    )

    cause = answer(target, others=(target,), room=ROOM)

    assert cause.kind is CauseKind.WARMING
    assert cause.says.startswith("It was too warm for hours")


def test_later_readings_do_not_count() -> None:
    """An old alarm is explained as it would have been then."""
    evidence = Evidence(DRY, since(0.5), NOW_MS, 62.0, others=(DRY,), room=ROOM)
    later = DRY.at_ms[-1] + 60_000 * np.arange(1, 600)
    gone = History(
        np.concatenate([DRY.at_ms, later]),
        np.concatenate([DRY.temperature, np.full(599, 40.0)]),
        np.concatenate([DRY.humidity, np.full(599, 3.0)]),
    )

    assert explain(replace(evidence, target=gone, others=(gone,))) == explain(evidence)


def test_gaps_and_missing_values_are_survived() -> None:
    """A record with holes and NaN gives the same cause."""
    keep = np.random.default_rng(6).random(len(DRY.at_ms)) > 0.3
    keep[2000:2600] = False
    holes = History(
        DRY.at_ms[keep], DRY.temperature[keep], np.where(keep[keep], DRY.humidity[keep], np.nan)
    )
    holes.humidity[::17] = np.nan

    cause = answer(holes, others=(DRY,), room=ROOM)

    assert cause.kind is CauseKind.DRYING
    assert cause.water_share == pytest.approx(1.0, abs=0.05)


def test_a_broken_witness_is_not_heard() -> None:
    """A neighbour that is stuck denies nothing, and a dead probe in the room is as good as none."""
    stuck = History(
        USUAL.at_ms,
        np.where(USUAL.at_ms > since(9.0), 24.0, USUAL.temperature),
        np.where(USUAL.at_ms > since(9.0), 66.0, USUAL.humidity),
    )

    cause = answer(DRY, others=(DRY, stuck), room=ROOM.between(0, since(2.0)))

    assert cause.kind is CauseKind.DRYING
    assert set(cause.could_be) == {CauseKind.DRYING, CauseKind.ROOM}
    assert figures(cause)["other_probes"] == 1.0
    assert "(no probe there)" in cause.says


def test_an_alarm_of_the_future_is_refused() -> None:
    """Mixed-up times would be explained by nonsense."""
    with pytest.raises(ValueError, match="must not lie after"):
        Evidence(DRY, NOW_MS + 1, NOW_MS, 62.0)


columns = st.lists(
    st.one_of(st.just(np.nan), st.floats(0.0, 100.0), st.sampled_from([0.0, 100.0])),
    min_size=0,
    max_size=60,
)


def sparse(values: list[float], step_h: float) -> History:
    """A record of a few readings, the last one now."""
    count = len(values)
    at_ms = NOW_MS - np.round(step_h * 3.6e6 * np.arange(count)[::-1]).astype(np.int64)
    return History(at_ms, np.array(values) * 0.5 - 5.0, np.array(values))


@settings(max_examples=150, deadline=None)
@given(
    columns, columns, columns, st.floats(0.05, 6.0), st.floats(0.0, 100.0), st.sampled_from(Side)
)
def test_whatever_is_recorded_gets_an_answer(
    target: list[float],
    other: list[float],
    room: list[float],
    step_h: float,
    limit: float,
    side: Side,
) -> None:
    """No record, however odd, raises; the cause is in the set; shares stay within 0 and 1."""
    cause = explain(
        Evidence(
            sparse(target, step_h),
            since(0.5),
            NOW_MS,
            limit,
            side,
            others=(sparse(other, step_h),),
            room=sparse(room, step_h),
            misted_ms=(since(1.0), since(25.0)),
        )
    )

    assert cause.kind in cause.could_be
    assert len(set(cause.could_be)) == len(cause.could_be)
    assert cause.says
    assert cause.check_first
    if cause.water_share is not None:
        low, high = cause.water_share_low, cause.water_share_high
        assert low is not None
        assert high is not None
        assert 0.0 <= low <= cause.water_share <= high <= 1.0
