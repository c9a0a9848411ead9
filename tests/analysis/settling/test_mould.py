"""Mould: come, gone, and stayed away."""

import datetime as dt

import pytest

from monitor.analysis.settling import Criterion, Result
from monitor.analysis.settling.mould import Look, mould
from monitor.species.settling import SettlingLimits

LIMITS = SettlingLimits()
BUILT = dt.date(2026, 1, 1)


def on(day: int) -> dt.date:
    """A day of the build."""
    return BUILT + dt.timedelta(days=day)


def judged(today: int, covers: dict[int, int]) -> Criterion:
    """The criterion with covers seen on days of the build."""
    return mould([Look(on(day), cover) for day, cover in covers.items()], BUILT, on(today), LIMITS)


BLOOM = {3: 0, 7: 2, 10: 4, 14: 2}


def test_a_bloom_that_has_been_gone_for_a_week_passes() -> None:
    """Risen, fallen, none at two looks seven days apart."""
    found = judged(25, {**BLOOM, 18: 0, 25: 0})

    assert found.result is Result.PASS
    assert found.value == 0.0
    assert found.says == "Mould: cover was up to 4, none at 2 looks since 19 January."


@pytest.mark.parametrize(
    ("covers", "today", "due"),
    [
        ({**BLOOM, 18: 0}, 19, 25),
        ({**BLOOM, 18: 0, 24: 0}, 24, 25),
        ({**BLOOM, 18: 0, 24: 0}, 31, 31),
        ({**BLOOM, 18: 1, 22: 0}, 23, 29),
    ],
)
def test_one_look_or_a_few_days_are_not_enough(
    covers: dict[int, int], today: int, due: int
) -> None:
    """It says on which day a look could settle it, today if that day has passed."""
    found = judged(today, covers)

    assert found.result is Result.UNKNOWN
    assert found.earliest == on(due)
    assert "could settle it" in found.says


def test_a_second_bloom_begins_the_wait_anew() -> None:
    """Mould seen again after clean looks is mould."""
    clean = {**BLOOM, 18: 0, 25: 0}
    assert judged(27, {**clean, 27: 1}).result is Result.FAIL
    assert judged(30, {**clean, 27: 1, 29: 0}).earliest == on(36)


def test_rising_mould_has_no_date_falling_mould_has() -> None:
    """While it rises nobody can say when; once it falls, a week from now is the earliest."""
    rising, falling = judged(11, {3: 0, 7: 2, 10: 4}), judged(15, BLOOM)

    assert (rising.result, rising.earliest) == (Result.FAIL, None)
    assert "not falling yet" in rising.says
    assert (falling.result, falling.earliest) == (Result.FAIL, on(22))
    assert "down from 4" in falling.says


def test_cover_that_rises_again_is_not_falling() -> None:
    """Below its highest, but more than at the look before."""
    assert judged(18, {**BLOOM, 17: 3}).earliest is None


def test_old_looks_are_no_news() -> None:
    """Clean looks three weeks ago do not pass today; a look is due."""
    found = judged(50, {**BLOOM, 18: 0, 25: 0})

    assert found.result is Result.UNKNOWN
    assert found.earliest == on(50)
    assert "a look is due" in found.says


def test_nobody_looked() -> None:
    """Without any look nothing is assumed."""
    found = judged(40, {})

    assert found.result is Result.UNKNOWN
    assert found.value is None
    assert "nobody has looked" in found.says


def test_a_build_that_never_moulds_passes_after_six_weeks_of_looks() -> None:
    """Weekly looks from the first week on; one day less is not enough."""
    weekly = dict.fromkeys(range(6, 43, 6), 0)

    assert judged(42, weekly).result is Result.PASS
    assert "never seen" in judged(42, weekly).says
    short = judged(41, dict.fromkeys(range(5, 42, 6), 0))
    assert short.result is Result.UNKNOWN
    assert short.earliest == on(42)


def test_a_bloom_nobody_could_have_seen_is_not_taken_for_none() -> None:
    """Looks that began late, or left a gap, count from where they became regular."""
    late = dict.fromkeys(range(20, 50, 5), 0)
    gap = {2: 0, 5: 0} | dict.fromkeys(range(25, 56, 5), 0)

    assert judged(46, late).earliest == on(62)
    assert judged(56, gap).earliest == on(67)


@pytest.mark.parametrize(
    ("later", "relapse"),
    [({60: 0}, False), ({60: 1}, False), ({60: 1, 63: 1}, True), ({60: 2}, True), ({}, False)],
)
def test_what_undoes_a_settled_build(later: dict[int, int], relapse: bool) -> None:
    """Spots at one look, or a few threads at two in a row."""
    assert judged(64, {**BLOOM, 18: 0, 25: 0, **later}).relapsed is relapse
