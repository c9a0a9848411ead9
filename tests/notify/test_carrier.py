"""One channel's way through its outbox, turn by turn, on a clock of its own."""

import logging
import math
from collections import deque

import pytest

from monitor.errors import DeliveryError, StoreError
from monitor.notify.carrier import Carrier
from monitor.store.rows import Notice
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import outbox
from monitor.store.sqlite.state.outbox import Stats


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now_ms = 1_796_000_000_000

    def __call__(self) -> int:
        """Epoch milliseconds."""
        return self.now_ms


class Scripted:
    """A channel that fails as planned, and succeeds when nothing is planned."""

    def __init__(self, *failures: Exception | None) -> None:
        self.failures = deque(failures)
        self.delivered: list[str] = []

    def deliver(self, notice: Notice) -> None:
        """Fail or remember."""
        failure = self.failures.popleft() if self.failures else None
        if failure is not None:
            raise failure
        self.delivered.append(notice.idempotency_key)


class Desk:
    """A carrier with all that belongs to it."""

    def __init__(self, database: Database, *failures: Exception | None) -> None:
        self.database = database
        self.clock = Clock()
        self.channel = Scripted(*failures)
        self.carrier = Carrier("phone", self.channel, database, clock=self.clock, draw=max)

    def add(self, *keys: str) -> None:
        """Put notices in line."""
        notices = [Notice("phone", key, "raised", "{}") for key in keys]
        with self.database.transaction() as connection:
            outbox.add(connection, notices, self.clock.now_ms)

    def stats(self) -> list[Stats]:
        """How the outbox stands."""
        with self.database.reading() as connection:
            return outbox.stats(connection)


def test_with_nothing_to_do_there_is_no_next_turn(database: Database) -> None:
    """An empty outbox asks for no turn at all."""
    assert Desk(database).carrier.turn() == math.inf


def test_notices_leave_in_the_order_they_came(database: Database) -> None:
    """One a turn, each once."""
    desk = Desk(database)
    desk.add("a", "b")
    desk.clock.now_ms += 1
    desk.add("c")

    assert [desk.carrier.turn() for _ in range(4)] == [0, 0, 0, math.inf]
    assert desk.channel.delivered == ["a", "b", "c"]
    assert desk.stats() == []


def test_a_failure_waits_and_is_tried_again(database: Database) -> None:
    """The turns between do nothing; the pause grows with each failure."""
    desk = Desk(database, DeliveryError("HTTP 500"), DeliveryError("HTTP 500"))
    desk.add("a")

    assert desk.carrier.turn() == 0
    assert desk.carrier.turn() == 1
    desk.clock.now_ms += 999
    assert desk.carrier.turn() == pytest.approx(0.001)
    desk.clock.now_ms += 1
    assert desk.carrier.turn() == 0
    assert desk.carrier.turn() == 2
    desk.clock.now_ms += 2000
    assert desk.carrier.turn() == 0
    assert desk.channel.delivered == ["a"]


def test_one_notice_that_always_fails_holds_up_no_other(database: Database) -> None:
    """Others pass it while it waits."""
    desk = Desk(database, DeliveryError("HTTP 500"))
    desk.add("a", "b")
    desk.carrier.turn()
    desk.carrier.turn()

    assert desk.channel.delivered == ["b"]


def test_a_receiver_that_asks_for_a_pause_gets_it_from_all(database: Database) -> None:
    """Retry-After is meant for the whole channel, also for notices that come later."""
    desk = Desk(database, DeliveryError("HTTP 429", after_s=60))
    desk.add("a", "b")
    desk.carrier.turn()
    desk.add("c")

    assert desk.carrier.turn() == 60
    desk.clock.now_ms += 60_000
    assert [desk.carrier.turn() for _ in range(3)] == [0, 0, 0]
    assert sorted(desk.channel.delivered) == ["a", "b", "c"]


def test_what_is_given_up_is_kept_and_told(
    database: Database, caplog: pytest.LogCaptureFixture
) -> None:
    """It leaves the line, is counted with its error, and the log says so."""
    desk = Desk(database, DeliveryError("HTTP 404: no such hook", retry=False))
    desk.add("a", "b")
    desk.carrier.turn()
    desk.carrier.turn()

    assert desk.channel.delivered == ["b"]
    assert desk.stats() == [Stats("phone", 0, None, 1, 0, "HTTP 404: no such hook")]
    (line,) = [r.getMessage() for r in caplog.records if r.levelno == logging.ERROR]
    assert line == "channel phone: a: given up at attempt 1: HTTP 404: no such hook"


def test_a_day_of_failures_ends(database: Database) -> None:
    """Every attempt until then is made, none after."""
    desk = Desk(database, *[DeliveryError("HTTP 500")] * 1000)
    desk.add("a")
    start_ms = desk.clock.now_ms
    while (pause := desk.carrier.turn()) != math.inf:
        desk.clock.now_ms += round(1000 * pause)

    assert 24 * 3600 <= (desk.clock.now_ms - start_ms) / 1000 <= 24 * 3600 + 300
    assert desk.stats() == [Stats("phone", 0, None, 1, 0, "HTTP 500")]


def test_a_fault_in_a_channel_is_a_failure_like_any_other(
    database: Database, caplog: pytest.LogCaptureFixture
) -> None:
    """A mistake in our own code is logged with its trace, shown, and tried again."""
    desk = Desk(database, ZeroDivisionError("oh"))
    desk.add("a")
    desk.carrier.turn()

    (stats,) = desk.stats()
    assert stats.last_error == "a fault in the channel itself: ZeroDivisionError"
    assert any(record.exc_info for record in caplog.records)
    desk.clock.now_ms += 1000
    desk.carrier.turn()
    assert desk.channel.delivered == ["a"]


def test_a_delivery_that_could_not_be_noted_is_not_made_again(database: Database) -> None:
    """A full disk does not flood the receiver: the note is made up for first."""
    desk = Desk(database)
    desk.add("a")
    with database.transaction() as connection:
        connection.execute(
            "CREATE TRIGGER full BEFORE UPDATE ON outbox BEGIN SELECT raise(ABORT, 'full'); END"
        )
    for _ in range(2):
        with pytest.raises(StoreError, match="full"):
            desk.carrier.turn()
    with database.transaction() as connection:
        connection.execute("DROP TRIGGER full")

    assert desk.carrier.turn() == math.inf
    assert desk.channel.delivered == ["a"]


def test_a_clock_that_is_put_right_strands_nothing(database: Database) -> None:
    """An entry postponed while the clock ran years ahead is tried when that is noticed."""
    desk = Desk(database, DeliveryError("HTTP 500"))
    right_ms = desk.clock.now_ms
    desk.clock.now_ms += 10 * 365 * 24 * 3600 * 1000
    desk.add("a")
    desk.carrier.turn()
    desk.clock.now_ms = right_ms
    desk.carrier.turn()

    assert desk.channel.delivered == ["a"]
