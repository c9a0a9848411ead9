"""The outbox: what waits, what went, what was given up."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.store.rows import AlarmRow, Notice
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms, outbox
from monitor.store.sqlite.state.outbox import Stats, Waiting


def notice(key: str, channel: str = "phone") -> Notice:
    """A notice with a body of its own."""
    return Notice(channel, key, "raised", f'{{"key": "{key}"}}')


def first(database: Database, channel: str = "phone") -> Waiting | None:
    """What the channel is to try first."""
    with database.reading() as connection:
        return outbox.first(connection, channel)


def test_a_notice_waits_as_it_was_added(database: Database) -> None:
    """A new entry is due at once and carries its notice unchanged."""
    with database.transaction() as connection:
        assert outbox.add(connection, [notice("a1/raised")], now_ms=1000) == 1

    assert first(database) == Waiting(1, notice("a1/raised"), 1000, 1000, 0)
    assert first(database, "other") is None


def test_a_repeat_is_added_once_per_channel(database: Database) -> None:
    """The same key again adds nothing on its channel, even after delivery."""
    with database.transaction() as connection:
        assert outbox.add(connection, [notice("k"), notice("k"), notice("k", "mail")], 0) == 2
        outbox.delivered(connection, 1, 5)
        assert outbox.add(connection, [notice("k")], 10) == 0

    assert first(database) is None


def test_a_postponed_entry_lets_others_pass(database: Database) -> None:
    """The next attempt decides who is first, not the age."""
    with database.transaction() as connection:
        outbox.add(connection, [notice("old")], 0)
        outbox.add(connection, [notice("new")], 10)
        outbox.postponed(connection, 1, "HTTP 500", 20)

    entry = first(database)
    assert entry is not None
    assert entry.notice == notice("new")
    with database.transaction() as connection:
        outbox.delivered(connection, 2, 11)
    assert first(database) == Waiting(1, notice("old"), 0, 20, 1)


def test_what_is_done_waits_no_longer(database: Database) -> None:
    """Delivered and given-up entries are out of the way."""
    with database.transaction() as connection:
        outbox.add(connection, [notice("a"), notice("b")], 0)
        outbox.delivered(connection, 1, 1)
        outbox.given_up(connection, 2, "HTTP 404", 2)

    assert first(database) is None


def test_stats_show_what_has_not_arrived(database: Database) -> None:
    """Per channel: how many wait and since when, how many were given up, and the latest error."""
    with database.transaction() as connection:
        outbox.add(connection, [notice("a"), notice("b"), notice("c", "mail")], 100)
        outbox.add(connection, [notice("d"), notice("e", "done")], 200)
        outbox.given_up(connection, 1, "HTTP 404", 300)
        outbox.postponed(connection, 2, "HTTP 500", 400)
        outbox.delivered(connection, 5, 300)
    with database.reading() as connection:
        assert outbox.stats(connection) == [
            Stats("mail", 1, 100, 0, 0, None),
            Stats("phone", 2, 100, 1, 0, "HTTP 500"),
        ]


def test_entries_of_removed_channels_are_given_up(database: Database) -> None:
    """Nothing waits for ever for a channel that no longer exists."""
    with database.transaction() as connection:
        outbox.add(connection, [notice("a"), notice("b", "gone"), notice("c", "gone")], 0)
        outbox.delivered(connection, 2, 1)
        assert outbox.orphaned(connection, ["phone", "mail"], 5) == 1
    with database.reading() as connection:
        assert outbox.stats(connection) == [
            Stats("gone", 0, None, 1, 0, "the channel is no longer set up"),
            Stats("phone", 1, 0, 0, 0, None),
        ]


def of(alarm: str, kind: str, channel: str = "phone") -> Notice:
    """A notice about an alarm."""
    return Notice(channel, f"{alarm}/{kind}", kind, "{}")


def test_calls_that_wait_are_called_off_and_nothing_else(database: Database) -> None:
    """Not what was delivered or given up, nor of another alarm, nor the end of what was told."""
    with database.transaction() as connection:
        told = [of("a", "raised"), of("a", "raised", "mail"), of("b", "raised")]
        ended = [of("a", "returned"), of("a", "returned", "mail")]
        outbox.add(connection, [*told, *ended, of("a", "escalated", "vet")], 0)
        outbox.delivered(connection, 1, 1)
        outbox.postponed(connection, 2, "HTTP 500", 60)
        outbox.given_up(connection, 6, "HTTP 404", 2)
        gone = outbox.call_off(connection, "a", ["raised", "escalated"], 5)
        again = outbox.call_off(connection, "a", ["raised", "escalated"], 6)
        left = outbox.told(connection, ["a", "b"], -1)
        stats = {row.channel: row for row in outbox.stats(connection)}

    assert sorted(gone) == [("mail", "a/raised"), ("mail", "a/returned")]
    assert again == []
    assert set(left.at_ms) == {
        ("phone", "a/raised"),
        ("phone", "a/returned"),
        ("phone", "b/raised"),
        ("vet", "a/escalated"),
    }
    assert left.lately == {"phone": 3, "vet": 1}
    assert stats["mail"] == Stats("mail", 0, None, 0, 2, None)
    assert (stats["phone"].waiting, stats["vet"].given_up) == (2, 1)
    assert first(database, "mail") is None


def test_what_arrives_while_it_is_called_off_has_arrived(database: Database) -> None:
    """What fails just then is neither tried again nor counted as given up."""
    with database.transaction() as connection:
        outbox.add(connection, [of(alarm, "raised") for alarm in "abc"], 0)
        for alarm in "abc":
            outbox.call_off(connection, alarm, ["raised"], 5)
        outbox.delivered(connection, 1, 6)
        outbox.postponed(connection, 2, "HTTP 500", 7)
        outbox.given_up(connection, 3, "HTTP 404", 8)
        told = outbox.told(connection, ["a", "b", "c"], 0)
        (stats,) = outbox.stats(connection)

    assert set(told.at_ms) == {("phone", "a/raised")}
    assert stats == Stats("phone", 0, None, 0, 2, None)
    assert first(database) is None


def test_what_was_called_off_can_be_told_anew_once(database: Database) -> None:
    """By itself, as it stands by then and as if never tried, or by a summary."""
    fresh = of("a", "escalated")._replace(body='{"since": "then"}')
    with database.transaction() as connection:
        outbox.add(connection, [of("a", "escalated"), of("b", "escalated")], 0)
        outbox.postponed(connection, 1, "HTTP 500", 60)
        for alarm in "ab":
            outbox.call_off(connection, alarm, ["escalated"], 5)
        added = [outbox.add(connection, [fresh], now_ms) for now_ms in (9, 10)]
        outbox.cover(connection, [("phone", "b/escalated")], 9)
        told = outbox.told(connection, ["a", "b"], 0)

    assert added == [1, 0]
    assert first(database) == Waiting(1, fresh, 9, 9, 0)
    assert told.at_ms == {("phone", "a/escalated"): 9, ("phone", "b/escalated"): 9}
    assert told.lately == {"phone": 1}


def test_old_entries_are_forgotten_but_none_that_waits(database: Database) -> None:
    """Only what was delivered, given up or called off before the given time goes."""
    with database.transaction() as connection:
        outbox.add(connection, [*(notice(key) for key in "abcd"), of("e", "raised")], 0)
        outbox.delivered(connection, 1, 10)
        outbox.given_up(connection, 2, "HTTP 404", 10)
        outbox.delivered(connection, 3, 20)
        outbox.call_off(connection, "e", ["raised"], 10)
        assert outbox.forget(connection, 20) == 3
        assert outbox.add(connection, [notice("a"), notice("c"), notice("d")], 30) == 1


# Each example is a file of its own: fewer of them, and no deadline for a busy disk.
@settings(max_examples=30, deadline=None)
@given(
    steps=st.lists(st.tuples(st.sampled_from(["add", "postpone", "deliver"]), st.integers(0, 9)))
)
def test_the_first_is_always_the_earliest_then_the_oldest(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, int]]
) -> None:
    """After any course of events the outbox agrees with a plain dict of id to next attempt."""
    database = Database(tmp_path_factory.mktemp("outbox") / "dewkeep.db")
    waiting: dict[int, int] = {}
    ids = itertools.count(1)
    for what, at_ms in steps:
        head = min(waiting, key=lambda entry_id: (waiting[entry_id], entry_id), default=0)
        with database.transaction() as connection:
            if what == "add":
                entry_id = next(ids)
                outbox.add(connection, [notice(str(entry_id))], at_ms)
                waiting[entry_id] = at_ms
            elif head and what == "postpone":
                outbox.postponed(connection, head, "HTTP 500", at_ms)
                waiting[head] = at_ms
            elif head:
                outbox.delivered(connection, head, at_ms)
                del waiting[head]

        entry = first(database)
        expected = min(waiting, key=lambda entry_id: (waiting[entry_id], entry_id), default=None)
        assert (entry.id if entry else None) == expected
    database.close()


def test_what_was_told_of_an_alarm_is_remembered(database: Database) -> None:
    """By channel and key with the time, delivered or not, and of no alarm but those asked for."""
    with database.transaction() as connection:
        outbox.add(connection, [notice("a/raised"), notice("a/raised", "mail")], 5)
        outbox.add(connection, [notice("a/escalated/vet", "vet"), notice("ab/raised")], 7)
        outbox.delivered(connection, 1, 6)
        outbox.cover(connection, [("phone", "b/raised")], 8)

        told = outbox.told(connection, ["a", "b"], since_ms=0)

    assert told.at_ms == {
        ("phone", "a/raised"): 5,
        ("mail", "a/raised"): 5,
        ("vet", "a/escalated/vet"): 7,
        ("phone", "b/raised"): 8,
    }


def test_what_a_channel_was_given_of_late_is_counted(database: Database) -> None:
    """From after a time on, whatever it was about; what a summary spoke for does not count."""
    with database.transaction() as connection:
        outbox.add(connection, [notice("a/raised")], 10)
        outbox.add(connection, [notice("b/raised"), notice("summary/11"), notice("c", "mail")], 11)
        outbox.cover(connection, [("phone", "d/raised")], 11)

        assert outbox.told(connection, [], since_ms=10).lately == {"phone": 2, "mail": 1}


def test_what_a_summary_speaks_for_is_never_sent(database: Database) -> None:
    """It counts as told: putting it in line again changes nothing."""
    with database.transaction() as connection:
        outbox.cover(connection, [("phone", "a/raised")], 5)
        outbox.cover(connection, [("phone", "a/raised")], 6)
        assert outbox.add(connection, [notice("a/raised")], 7) == 0

    assert first(database) is None
    with database.reading() as connection:
        assert outbox.stats(connection) == []


def test_what_is_about_an_open_alarm_is_not_forgotten(database: Database) -> None:
    """Else an alarm that stands for months would be told again."""
    with database.transaction() as connection:
        alarms.put(
            connection,
            [
                AlarmRow("open", "cork-cube", "unacknowledged", 0, False, "{}"),
                AlarmRow("over", "cork-cube", "normal", 0, True, "{}"),
            ],
        )
        outbox.add(connection, [notice(key) for key in ("open/raised", "over/raised", "other")], 0)
        for entry_id in (1, 2, 3):
            outbox.delivered(connection, entry_id, 1)

        assert outbox.forget(connection, before_ms=10) == 2
        assert list(outbox.told(connection, ["open", "over"], 0).at_ms) == [
            ("phone", "open/raised")
        ]
