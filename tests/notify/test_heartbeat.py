"""The heartbeat, against a real HTTP server."""

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest

from monitor.errors import StoreError
from monitor.notify.heartbeat import TOLD_AGAIN_S, Heartbeat
from monitor.notify.target import Target

if TYPE_CHECKING:
    from tests.notify.conftest import Answer, Receiver


def beating(
    receiver: "Receiver",
    healthy: Callable[[], bool] = lambda: True,
    *,
    method: str = "GET",
    every_s: float = 3600,
    allow_private: bool = True,
    told_again_s: float = TOLD_AGAIN_S,
) -> Heartbeat:
    """A heartbeat to a receiver."""
    target = Target(receiver.url, allow_private=allow_private, clock=lambda: 0)
    return Heartbeat(
        target, method=method, every_s=every_s, healthy=healthy, told_again_s=told_again_s
    )


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_all_is_well(receiver: "Receiver", method: str) -> None:
    """One call, without a body."""
    beating(receiver, method=method).beat()

    ((target, headers, body),) = receiver.received
    assert (target, body) == ("/hook", b"")
    assert headers["User-Agent"].startswith("dewkeep/")


def test_nothing_is_said_while_something_is_wrong(
    receiver: "Receiver", caplog: pytest.LogCaptureFixture
) -> None:
    """A sign of life would be a lie: when all is not well, and when that cannot be told."""

    def unknown() -> bool:
        raise StoreError("the database cannot be read")

    beating(receiver, lambda: False).beat()
    beating(receiver, unknown).beat()

    assert receiver.received == []
    assert "no heartbeat: dewkeep itself is not well" in caplog.text
    assert "no heartbeat: a fault in the heartbeat: StoreError" in caplog.text


def test_a_failure_is_told_once_and_its_end_too(
    receiver: "Receiver", answer: "type[Answer]", caplog: pytest.LogCaptureFixture
) -> None:
    """A night of failures does not fill the log; the token in the address stays out of it."""
    caplog.set_level("INFO")
    receiver.planned += [answer(500)] * 5
    heart = beating(receiver)
    for _ in range(7):
        heart.beat()

    lines = [record.getMessage() for record in caplog.records if "heartbeat" in record.name]
    assert lines == [
        f"no heartbeat: http://127.0.0.1:{receiver.port}: HTTP 500",
        "the heartbeat goes out again",
    ]


def test_a_failure_that_lasts_is_told_again(
    receiver: "Receiver", answer: "type[Answer]", caplog: pytest.LogCaptureFixture
) -> None:
    """After an hour, here shortened to nothing."""
    receiver.planned += [answer(500)] * 3
    heart = beating(receiver, told_again_s=0.0)
    for _ in range(3):
        heart.beat()

    assert caplog.text.count("no heartbeat") == 3


def test_a_private_address_must_be_allowed(
    receiver: "Receiver", caplog: pytest.LogCaptureFixture
) -> None:
    """As for webhooks, nothing goes to one's own network by mistake."""
    beating(receiver, allow_private=False).beat()

    assert receiver.received == []
    assert "no public address" in caplog.text


def test_it_beats_until_it_is_stopped(
    receiver: "Receiver",
    eventually: Callable[[Callable[[], object]], None],
) -> None:
    """Time after time, in a thread of its own that ends."""
    heart = beating(receiver, every_s=0.01)
    heart.start()
    eventually(lambda: len(receiver.received) >= 3)
    heart.stop()

    assert not [each for each in threading.enumerate() if each.name == "heartbeat"]
