"""The ingest loop: nothing is acknowledged before it is kept, and nothing stops it."""

import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from typing import Any, cast

import pytest

from monitor.errors import NotFound, StoreUnavailable
from monitor.ingest.link import Link, LinkState, Message
from monitor.ingest.loop import IngestLoop
from monitor.ingest.pipeline import Pipeline
from tests.support.waiting import eventually


class FakeLink:
    """Hands out batches that are put into it, and remembers what was acknowledged."""

    def __init__(self) -> None:
        self.state = LinkState(connected=True)
        self.batches: list[list[Message]] = []
        self.acknowledged: list[bytes] = []
        self.closed = False
        self._woken = threading.Event()

    def gather(self, wait_s: float, _limit: int, _linger_s: float) -> list[Message]:
        """The next batch, if there is one."""
        if not self.batches:
            self.rest(min(wait_s, 0.01))
            return []
        return self.batches.pop(0)

    def rest(self, wait_s: float) -> None:
        """Wait for a wake-up."""
        self._woken.wait(min(wait_s, 0.01))
        self._woken.clear()

    def wake(self) -> None:
        """End a wait."""
        self._woken.set()

    def acknowledge(self, messages: Sequence[Message]) -> None:
        """Remember them."""
        self.acknowledged += [message.payload for message in messages]

    def close(self) -> None:
        """Say goodbye."""
        self.closed = True


class FakePipeline:
    """Keeps payloads; fails as told."""

    def __init__(self) -> None:
        self.kept: list[bytes] = []
        self.rejected: list[bytes] = []
        self.store_fails = 0
        self.ticks = 0

    def take(self, messages: Sequence[Message], _now_ms: int) -> None:
        """Keep all, or none."""
        if self.store_fails:
            self.store_fails -= 1
            raise StoreUnavailable("disk full")
        if any(message.payload == b"poison" for message in messages):
            raise ZeroDivisionError
        self.kept += [message.payload for message in messages]

    def reject(self, message: Message, _mistake: Exception, _now_ms: int) -> None:
        """Give it up."""
        self.rejected.append(message.payload)

    def tick(self, _now_ms: int) -> None:
        """Count."""
        self.ticks += 1


class Rig:
    """A loop over fakes."""

    def __init__(self) -> None:
        self.link, self.pipeline = FakeLink(), FakePipeline()
        self.loop = IngestLoop(
            cast("Link", self.link), cast("Pipeline", self.pipeline), clock=lambda: 0
        )

    def send(self, *payloads: bytes) -> None:
        """One batch."""
        self.link.batches.append([Message("t", payload, 1, 1, 1) for payload in payloads])
        self.link.wake()


@pytest.fixture
def rig() -> Iterator[Rig]:
    """A running loop."""
    built = Rig()
    built.loop.start()
    yield built
    built.loop.stop()


def test_what_is_kept_is_acknowledged(rig: Rig) -> None:
    """In order, once."""
    rig.send(b"1", b"2")
    rig.send(b"3")

    eventually(lambda: len(rig.link.acknowledged) == 3, "acknowledged")

    assert rig.link.acknowledged == rig.pipeline.kept == [b"1", b"2", b"3"]


def test_a_store_that_fails_holds_everything_up(rig: Rig) -> None:
    """Held without acknowledgement while the store fails, told at health, then kept once."""
    rig.pipeline.store_fails = 10**9
    rig.send(b"1", b"2")
    eventually(lambda: rig.loop.state().store_says == "disk full", "told")
    held = rig.loop.state().held_messages
    assert rig.link.acknowledged == []

    rig.pipeline.store_fails = 0
    eventually(lambda: rig.loop.state().store_says is None, "recovered")

    assert held == 2
    assert rig.pipeline.kept == rig.link.acknowledged == [b"1", b"2"]


def test_a_message_dewkeep_fails_on_is_given_up_alone(rig: Rig) -> None:
    """Its neighbours are kept; it is rejected, acknowledged, and counted as a mistake of ours."""
    rig.send(b"1", b"poison", b"2")

    eventually(lambda: len(rig.link.acknowledged) == 3, "acknowledged")

    assert rig.pipeline.kept == [b"1", b"2"]
    assert rig.pipeline.rejected == [b"poison"]
    assert rig.loop.state().mistakes == 1


def test_requests_are_answered_between_batches(rig: Rig) -> None:
    """By the loop's own thread; an error goes to whoever asked, the loop goes on."""

    def fail(_pipeline: Pipeline, _now_ms: int) -> None:
        raise NotFound("no such alarm")

    thread = rig.loop.ask(lambda _pipeline, _now_ms: threading.current_thread().name)
    assert thread.result(10) == "ingest"
    with pytest.raises(NotFound, match="no such alarm"):
        rig.loop.ask(fail).result(10)
    rig.send(b"1")
    eventually(lambda: rig.link.acknowledged, "goes on")


def test_time_passes_without_messages(rig: Rig) -> None:
    """Silence is noticed by the tick, about once a second."""
    eventually(lambda: rig.pipeline.ticks >= 2, "two ticks")


def test_stopping_says_goodbye_and_refuses_what_comes_late(rig: Rig) -> None:
    """Stopping twice does no harm; a request after it fails instead of hanging."""
    assert rig.loop.state().alive
    rig.loop.stop()
    rig.loop.stop()

    late: Future[Any] = rig.loop.ask(lambda _pipeline, _now_ms: None)
    with pytest.raises(StoreUnavailable, match="stopping"):
        late.result(10)
    assert rig.link.closed
    assert not rig.loop.state().alive
