"""One list of mistings out of mister, journal and air."""

import pytest

from monitor.analysis.misting import Misting, Reported, Rise, Source
from monitor.analysis.misting.mistings import clock_shift_ms, merge, with_seconds
from monitor.times import HOUR_MS, MINUTE_MS

T = 1_790_812_800_000


def rise(at_ms: int, height: float = 4.0, certainty: float = 20.0) -> Rise:
    """A sure rise."""
    return Rise(at_ms, height, certainty, 1200.0)


def test_a_report_and_its_rise_are_one_misting() -> None:
    """Time and seconds from who knows best, height and fall from the air, hardly any doubt."""
    mister = merge([rise(T + 60_000)], [Reported(T, 12.0, Source.MISTER)]).mistings
    keeper = merge([rise(T + 9 * MINUTE_MS)], [Reported(T, 12.0, Source.JOURNAL)]).mistings

    assert mister == (Misting(T, 12.0, Source.MISTER, 0.99, 4.0, 1200.0),)
    assert keeper == (Misting(T + 9 * MINUTE_MS, 12.0, Source.JOURNAL, 0.99, 4.0, 1200.0),)


def test_the_air_speaks_where_nobody_else_did() -> None:
    """An unreported rise is a misting of unknown length, the surer the more it stands out."""
    faint, plain = merge([rise(T, certainty=4.6), rise(T + HOUR_MS)], []).mistings

    assert (faint.source, faint.seconds) == (Source.AIR, None)
    assert 0.55 < faint.confidence < 0.7
    assert plain.confidence > 0.99


def test_a_report_that_shows_nowhere_is_doubtful() -> None:
    """A mister that says it ran is believed more than a note, neither quite."""
    (mister,) = merge([], [Reported(T, 12.0, Source.MISTER)]).mistings
    (keeper,) = merge([], [Reported(T, 12.0, Source.JOURNAL)]).mistings

    assert keeper.confidence < mister.confidence < 0.9
    assert mister.rise is None


def test_a_mister_and_a_keeper_that_tell_of_the_same_are_one() -> None:
    """Two minutes apart they count once, by the mister's clock, with the seconds either knows."""
    reports = [Reported(T + 60_000, 15.0, Source.JOURNAL), Reported(T, None, Source.MISTER)]

    (one,) = merge([], reports).mistings

    assert (one.at_ms, one.seconds, one.source) == (T, 15.0, Source.MISTER)


def test_what_the_keeper_rejects_is_gone() -> None:
    """A rise or a report within five minutes of the word; others stay."""
    rises = [rise(T), rise(T + HOUR_MS)]
    reports = [Reported(T + 2 * HOUR_MS, 10.0, Source.MISTER)]

    left = merge(rises, reports, [T + 4 * MINUTE_MS, T + 2 * HOUR_MS - 1]).mistings

    assert [each.at_ms for each in left] == [T + HOUR_MS]


@pytest.mark.parametrize("hours", [1, -2])
def test_a_clock_that_is_off_is_noticed(hours: int) -> None:
    """Eight reports that all fit the air an hour late (or two early) are no coincidence."""
    times = [T + n * 5 * HOUR_MS + n * n * MINUTE_MS for n in range(8)]
    reports = [Reported(at + hours * HOUR_MS, 10.0, Source.JOURNAL) for at in times]

    assert clock_shift_ms([rise(at) for at in times], reports) == hours * HOUR_MS
    assert clock_shift_ms([rise(at) for at in times], reports[:3]) is None


def test_reports_that_fit_at_no_shift_are_just_not_seen() -> None:
    """Mistings without vapour are not blamed on the clock."""
    reports = [Reported(T + n * n * 47 * MINUTE_MS, 10.0, Source.MISTER) for n in range(9)]
    rises = [rise(T + n * 5 * HOUR_MS + 90 * MINUTE_MS) for n in range(9)]

    assert clock_shift_ms(rises, reports) is None


def test_untimed_mistings_are_guessed_by_their_height() -> None:
    """Twice the rise of a timed one is twice its seconds; three times at most."""
    timed = Misting(T, 10.0, Source.JOURNAL, 0.99, 4.0)
    double, huge, unseen = (
        Misting(T + n, None, Source.AIR, 0.9, height)
        for n, height in enumerate((8.0, 40.0, None), 1)
    )

    guessed = with_seconds([timed, double, huge, unseen])

    assert [each.seconds for each in guessed] == [10.0, 20.0, 30.0, 10.0]


def test_without_any_timed_misting_all_count_alike() -> None:
    """A second each: enough to tell when, not how much."""
    assert [each.seconds for each in with_seconds([Misting(T, None, Source.AIR, 0.9, 8.0)])] == [1]
