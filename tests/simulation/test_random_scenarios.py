"""Random scenarios: varied, repeatable, and with a truth that holds."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

from monitor.simulation.random_scenarios import Case, Kind, Played, play, random_scenario

CAUSES = {"drying", "warming", "mixed", "room", "probe", "swing"}
HOUR = 3_600_000


def draw(kind: Kind, seed: int, days: float = 4.0) -> Case:
    """A short case in coarse steps."""
    return random_scenario(np.random.default_rng(seed), kind, days=days, step_s=120.0)


def played(kind: Kind, seeds: range) -> list[Played]:
    """Cases of one kind, run."""
    return [play(draw(kind, seed)) for seed in seeds]


def test_there_are_fifteen_kinds_and_all_causes() -> None:
    """Every kind names one of the project's causes, every cause has a kind; the docs list all."""
    assert len(Kind) == 15
    assert {kind.cause for kind in Kind} == CAUSES
    text = (Path(__file__).parents[2] / "docs" / "simulation.md").read_text(encoding="utf-8")
    assert [kind for kind in Kind if f"`{kind}`" not in text] == []


def test_a_seed_gives_one_scenario() -> None:
    """The same generator state draws and plays the same; another draws another."""
    assert draw(Kind.LID_OPEN, 1) == draw(Kind.LID_OPEN, 1)
    assert draw(Kind.LID_OPEN, 1) != draw(Kind.LID_OPEN, 2)
    one, other = (play(draw(Kind.LID_OPEN, 1)) for _ in range(2))
    assert (one.crossed_ms, one.told_ms, one.day_limit) == (
        other.crossed_ms,
        other.told_ms,
        other.day_limit,
    )


def test_the_draw_is_varied() -> None:
    """Sixty draws hold all probe counts, rooms with and without a probe, and many shapes."""
    rng = np.random.default_rng(3)
    cases = [random_scenario(rng) for _ in range(60)]
    counts = [sum(p.owner == "tank" for p in case.scenario.probes) for case in cases]
    assert set(counts) == {1, 2, 3}
    with_room = [any(p.owner == "room" for p in case.scenario.probes) for case in cases]
    assert 15 < sum(with_room) < 45
    assert len({case.kind for case in cases}) > 10
    tanks = [case.scenario.enclosures[0] for case in cases]
    assert {tank.zones[0].name for tank in tanks} == {"canopy", "warm"}
    assert {bool(tank.misting) for tank in tanks} == {True, False}
    assert max(t.exchange for t in tanks) > 3 * min(t.exchange for t in tanks)
    assert len({case.scenario.timezone for case in cases}) > 2


def test_what_is_asked_for_is_drawn() -> None:
    """Kind, number of probes and room probe can be fixed; the length too."""
    case = random_scenario(
        np.random.default_rng(4), Kind.MAT_STUCK, days=6.0, probes=2, room_probe=True
    )
    assert [(p.owner, p.zone) for p in case.scenario.probes] == [
        ("tank", "warm"),
        ("tank", "cool"),
        ("room", "room"),
    ]
    assert case.end_ms - case.start_ms == 6 * 24 * HOUR
    assert case.cause == "warming"


def test_a_record_too_short_to_know_calm_is_refused() -> None:
    """There must be a calm day to place the limits by."""
    with pytest.raises(ValueError, match=r"days 3.0 must be at least 4.0"):
        draw(Kind.LID_OPEN, 1, days=3.0)


def test_twins_are_one_until_the_onset() -> None:
    """Before the fault both worlds are the same in every reading; after it they are not."""
    result = play(draw(Kind.LID_OPEN, 5))
    for key, told in result.record.readings.items():
        before = told.at_ms <= result.case.onset_ms
        calm = result.calm.readings[key]
        assert np.array_equal(told.humidity[before], calm.humidity[: before.sum()])
    zone = result.case.zone
    truths = [r.enclosures["tank"].zones[zone].humidity for r in (result.record, result.calm)]
    assert truths[0][-1] < truths[1][-1]


def test_calm_days_stay_above_the_limits() -> None:
    """Limits lie 3 to 5 %RH below all that the watched zone does by itself before the onset."""
    result = play(draw(Kind.MISTER_FAILED, 6))
    case, calm = result.case, result.calm
    truth = calm.enclosures["tank"].zones[case.zone].humidity
    known = (calm.at_ms > case.start_ms + 24 * HOUR) & (calm.at_ms <= case.onset_ms)
    margin = truth[known].min() - min(result.day_limit, result.night_limit)
    assert 3.0 <= margin <= 5.0 + 1e-9


@pytest.mark.slow
def test_water_share_tells_drying_from_warming() -> None:
    """Against the twin, drying kinds lose vapour (share near 1), warming kinds hardly any."""
    shares = {
        kind: [r.water_share for r in played(kind, range(8)) if r.water_share is not None]
        for kind in (Kind.LID_OPEN, Kind.MISTER_FAILED, Kind.MAT_STUCK, Kind.LID_AND_MAT)
    }
    assert all(len(of_kind) >= 3 for of_kind in shares.values()), shares
    assert min(shares[Kind.LID_OPEN]) > 0.9
    assert min(shares[Kind.MISTER_FAILED]) > 0.9
    assert max(shares[Kind.MAT_STUCK]) < 0.3
    assert 0.05 < np.median(shares[Kind.LID_AND_MAT]) < 0.8


@pytest.mark.slow
def test_only_the_reading_falls_when_the_probe_lies() -> None:
    """A jumped probe tells of a crossing that the truth, with its twin, does not know."""
    results = played(Kind.PROBE_JUMPED, range(6))
    assert all(result.water_share is None for result in results)
    told = [result.told_ms for result in results if result.told_ms is not None]
    assert len(told) >= 5


@pytest.mark.slow
def test_the_usual_swing_crosses_a_limit_set_too_high() -> None:
    """Without any fault the daily course itself goes below."""
    results = played(Kind.SWING, range(6))
    assert all(result.case.scenario.faults == () for result in results)
    assert sum(result.crossed_ms is not None for result in results) >= 5


def test_a_lamp_sticks_when_it_should_go_out() -> None:
    """The onset of a stuck lamp is the moment the timer wants it dark."""
    case = draw(Kind.LAMP_STUCK, 7)
    onset = dt.datetime.fromtimestamp(case.onset_ms / 1000, case.scenario.clock)
    assert onset.time() == case.scenario.enclosures[0].lights_off
