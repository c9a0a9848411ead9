"""The outbox loop with its threads: what is committed leaves, whatever hangs, fails or dies."""

import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import TYPE_CHECKING

import pytest

from monitor.errors import DeliveryError
from monitor.notify.channel import Channel
from monitor.notify.courier import STOP_WITHIN_S, Courier, Health
from monitor.notify.webhook import WebhookChannel
from monitor.setup.channels import Webhook
from monitor.store.rows import Notice
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import outbox

if TYPE_CHECKING:
    from tests.notify.conftest import Answer, Receiver

Eventually = Callable[[Callable[[], object]], None]
Begin = Callable[[Mapping[str, Channel]], Courier]


def now_ms() -> int:
    """The system's clock."""
    return time.time_ns() // 1_000_000


def add(database: Database, *notices: tuple[str, str], at_ms: int | None = None) -> None:
    """Commit notices (channel, key)."""
    with database.transaction() as connection:
        rows = [Notice(channel, key, "raised", "{}") for channel, key in notices]
        outbox.add(connection, rows, now_ms() if at_ms is None else at_ms)


def to(receiver: "Receiver") -> WebhookChannel:
    """A webhook to a receiver of the test."""
    settings = Webhook(name="phone", kind="webhook", url=receiver.url, allow_private=True)
    return WebhookChannel(settings, b"0123456789abcdef", clock=now_ms)


def keys(receiver: "Receiver") -> list[str]:
    """The idempotency keys that came in."""
    return [request.headers["Idempotency-Key"] for request in receiver.received]


class Recorder:
    """A channel that remembers what it was given."""

    def __init__(self) -> None:
        self.delivered: list[str] = []

    def deliver(self, notice: Notice) -> None:
        """Remember."""
        self.delivered.append(notice.idempotency_key)


class Stuck:
    """A channel whose deliveries hang until they are let go."""

    def __init__(self) -> None:
        self.reached = threading.Event()
        self.let_go = threading.Event()

    def deliver(self, _: Notice) -> None:
        """Hang."""
        self.reached.set()
        self.let_go.wait(30)


@pytest.fixture
def begin(database: Database) -> Iterator[Begin]:
    """Starts couriers without jitter; they are stopped after the test."""
    begun: list[Courier] = []

    def start(channels: Mapping[str, Channel]) -> Courier:
        courier = Courier(database, channels, clock=now_ms, draw=min)
        begun.append(courier)
        courier.start()
        return courier

    yield start
    for courier in begun:
        courier.stop()


@pytest.fixture
def stuck() -> Iterator[Stuck]:
    """A stuck channel that is let go after the test."""
    channel = Stuck()
    yield channel
    channel.let_go.set()


def test_what_was_left_behind_is_delivered_at_the_start(
    database: Database, begin: Begin, eventually: Eventually
) -> None:
    """Nothing that was committed needs another event to leave."""
    phone = Recorder()
    add(database, ("phone", "a"), ("phone", "b"))

    begin({"phone": phone})

    eventually(lambda: phone.delivered == ["a", "b"])


def test_a_wake_is_enough(database: Database, begin: Begin, eventually: Eventually) -> None:
    """An entry committed later leaves as soon as the courier is told, each time."""
    phone = Recorder()
    courier = begin({"phone": phone})
    expected = []
    for number in range(20):
        expected.append(f"a{number}")
        add(database, ("phone", f"a{number}"))
        courier.wake()
        eventually(lambda: phone.delivered == expected)


def test_a_receiver_that_fails_gets_it_in_the_end(
    database: Database,
    begin: Begin,
    eventually: Eventually,
    receiver: "Receiver",
    answer: "type[Answer]",
) -> None:
    """Errors, a busy answer and a lost one are all outlived, under one idempotency key."""
    receiver.planned += [answer(500), answer(429, {"Retry-After": "0"}), answer(503), answer(204)]
    add(database, ("phone", "a1/raised"))

    courier = begin({"phone": to(receiver)})

    eventually(lambda: len(receiver.received) == 4)
    eventually(lambda: courier.health()[0].waiting == 0)
    assert set(keys(receiver)) == {"a1/raised"}


def test_a_hanging_channel_holds_up_no_other(
    database: Database,
    begin: Begin,
    eventually: Eventually,
    receivers: "Callable[[], Receiver]",
    answer: "type[Answer]",
) -> None:
    """While one receiver keeps its caller waiting, the other gets everything."""
    hanging, well = receivers(), receivers()
    hanging.planned += [answer(hangs=True)] * 9
    add(database, ("hanging", "a"), ("well", "a"), ("hanging", "b"), ("well", "b"))

    courier = begin({"hanging": to(hanging), "well": to(well)})

    eventually(lambda: keys(well) == ["a", "b"])
    eventually(lambda: courier.health()[1].waiting == 0)
    assert len(hanging.received) == 1
    assert courier.health()[0].waiting == 2


def test_a_killed_delivery_is_made_again_with_the_same_key(
    database: Database,
    begin: Begin,
    eventually: Eventually,
    receiver: "Receiver",
    answer: "type[Answer]",
) -> None:
    """A daemon killed between commit and delivery loses nothing; the receiver sees a repeat."""
    receiver.planned.append(answer(hangs=True))
    daemon = textwrap.dedent(
        """
        import sys, threading, time
        from pathlib import Path
        from monitor.notify.courier import Courier
        from monitor.notify.webhook import WebhookChannel
        from monitor.setup.channels import Webhook
        from monitor.store.rows import Notice
        from monitor.store.sqlite.database import Database
        from monitor.store.sqlite.state import outbox

        clock = lambda: time.time_ns() // 1_000_000
        database = Database(Path(sys.argv[1]))
        with database.transaction() as connection:
            outbox.add(connection, [Notice("phone", "a1/raised", "raised", "{}")], clock())
        hook = Webhook(name="phone", kind="webhook", url=sys.argv[2], allow_private=True)
        courier = Courier(database, {"phone": WebhookChannel(hook, None, clock=clock)}, clock=clock)
        courier.start()
        threading.Event().wait()
        """
    )
    process = subprocess.Popen([sys.executable, "-c", daemon, str(database.path), receiver.url])
    try:
        eventually(lambda: len(receiver.received) == 1)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()

    courier = begin({"phone": to(receiver)})

    eventually(lambda: courier.health()[0].waiting == 0)
    assert keys(receiver) == ["a1/raised", "a1/raised"]


def test_stopping_is_prompt_and_leaves_no_thread(
    database: Database, begin: Begin, eventually: Eventually
) -> None:
    """Idle, waiting for a retry or busy: a stop ends every thread, time after time."""

    class Failing:
        def deliver(self, _: Notice) -> None:
            raise DeliveryError("HTTP 503", after_s=3600)

    before = threading.active_count()
    idle = Recorder()
    for number in range(10):
        add(database, ("failing", str(number)), ("idle", str(number)))
        courier = begin({"failing": Failing(), "idle": idle})
        eventually(partial(idle.delivered.count, str(number)))
        courier.stop()
        assert not any(health.alive for health in courier.health())

    assert threading.active_count() == before


@pytest.mark.slow
def test_stopping_does_not_wait_for_a_channel_that_hangs(
    database: Database, begin: Begin, stuck: Stuck, caplog: pytest.LogCaptureFixture
) -> None:
    """After two seconds it is left to itself; its notice stays for the next start."""
    assert STOP_WITHIN_S == 2
    add(database, ("stuck", "a"))
    courier = begin({"stuck": stuck})
    assert stuck.reached.wait(10)
    courier.stop()

    assert not stuck.let_go.is_set()
    assert "channel stuck: stopped in the middle of a delivery" in caplog.text
    assert courier.health()[0].waiting == 1


def test_health_shows_every_channel(
    database: Database, begin: Begin, eventually: Eventually, stuck: Stuck
) -> None:
    """Whether its loop lives, what waits since when, what was given up, and the latest error."""

    class Refused:
        def deliver(self, _: Notice) -> None:
            raise DeliveryError("HTTP 410", retry=False)

    begun_ms = now_ms()
    add(database, ("stuck", "a"), ("stuck", "b"), ("refused", "a"), at_ms=begun_ms)
    courier = begin({"stuck": stuck, "refused": Refused(), "quiet": Recorder()})
    eventually(lambda: courier.health()[1].given_up)

    assert courier.health() == [
        Health("stuck", True, 2, begun_ms, 0, 0, None),
        Health("refused", True, 0, None, 1, 0, "HTTP 410"),
        Health("quiet", True, 0, None, 0, 0, None),
    ]


def test_entries_of_a_removed_channel_are_given_up(
    database: Database, begin: Begin, caplog: pytest.LogCaptureFixture
) -> None:
    """A channel taken out of the settings leaves nothing behind that waits for ever."""
    add(database, ("gone", "a"), ("gone", "b"))
    begin({})
    with database.reading() as connection:
        (gone,) = outbox.stats(connection)

    assert (gone.waiting, gone.given_up) == (0, 2)
    assert "2 notifications given up: their channels are no longer set up" in caplog.text


def test_a_store_that_is_away_is_waited_for(
    database: Database,
    begin: Begin,
    eventually: Eventually,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """A loop that cannot read its outbox says so and lives on."""
    phone = Recorder()
    courier = begin({"phone": phone})
    with database.transaction() as connection:
        connection.execute("ALTER TABLE outbox RENAME TO away")
    courier.wake()
    eventually(lambda: "channel phone: the outbox cannot be used" in caplog.text)
    with database.transaction() as connection:
        connection.execute("ALTER TABLE away RENAME TO outbox")
    add(database, ("phone", "a"))
    courier.wake()

    eventually(lambda: phone.delivered == ["a"])
