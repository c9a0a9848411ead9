"""Verdicts on builds, kept as long as each stood."""

import datetime as dt

from monitor.store.rows import VerdictRow
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import verdicts

BUILT = dt.date(2026, 10, 1)


def row(at_ms: int, verdict: str, *, built_on: dt.date | None = BUILT) -> VerdictRow:
    """A verdict on the cube."""
    return VerdictRow("cube", at_ms, at_ms, verdict, built_on, f"{verdict} at {at_ms}")


def note(database: Database, row: VerdictRow) -> VerdictRow | None:
    """Keep one."""
    with database.transaction() as connection:
        return verdicts.note(connection, row)


def history(database: Database, built_on: dt.date | None, until_ms: int) -> list[VerdictRow]:
    """What is known of the cube."""
    with database.reading() as connection:
        return verdicts.history(connection, "cube", built_on, until_ms)


def test_the_same_verdict_again_lasts_longer(database: Database) -> None:
    """One row for as long as it stood, with what was said last; a new one begins with a change."""
    before = [
        note(database, row(at_ms, verdict))
        for at_ms, verdict in ((1, "settling"), (2, "settling"), (3, "settled"), (4, "settling"))
    ]

    assert before[0] is None
    assert [each.verdict for each in before[1:] if each] == ["settling", "settling", "settled"]
    assert history(database, BUILT, 9) == [
        VerdictRow("cube", 1, 2, "settling", BUILT, "settling at 2"),
        VerdictRow("cube", 3, 3, "settled", BUILT, "settled at 3"),
        VerdictRow("cube", 4, 4, "settling", BUILT, "settling at 4"),
    ]


def test_what_was_known_at_a_time_can_be_asked(database: Database) -> None:
    """Later verdicts are left out."""
    for at_ms, verdict in ((1, "settling"), (3, "settled")):
        note(database, row(at_ms, verdict))

    assert [each.verdict for each in history(database, BUILT, 2)] == ["settling"]
    with database.reading() as connection:
        assert verdicts.history(connection, "jar", BUILT, 9) == []


def test_another_day_of_building_begins_anew(database: Database) -> None:
    """What the build before had come to counts no more; no day at all is a build of its own."""
    note(database, row(1, "settled"))

    assert note(database, row(2, "collecting", built_on=dt.date(2026, 11, 1))) is None
    assert note(database, row(3, "settling", built_on=None)) is None
    assert len(history(database, None, 9)) == 1


def test_when_each_enclosure_was_last_judged_is_known(database: Database) -> None:
    """The newest judgement of any of its builds."""
    note(database, row(1, "settled"))
    note(database, row(5, "settled"))
    note(database, row(4, "settling", built_on=None))

    with database.reading() as connection:
        assert verdicts.asked_at_ms(connection, 9) == {"cube": 5}
        assert verdicts.asked_at_ms(connection, 3) == {"cube": 0}
