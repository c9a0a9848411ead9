"""Peers asked again and again: who looks never waits, and a last word is kept with its age."""

import threading
from collections.abc import Iterator

import pytest

from monitor.house.peers import AGAIN_S, EVERY_S, REFUSED_EVERY_S, SILENT_AFTER_S, Peers
from monitor.setup.peers import Peer
from tests.house.telling import NOW_MS, told
from tests.support.answering import Answering, Request
from tests.support.waiting import eventually

WORDS = told("keeper-2", "cork-cube")
BODY = WORDS.model_dump_json().encode()


class Clock:
    """Two clocks that stand until they are moved."""

    def __init__(self) -> None:
        self.now_ms = NOW_MS
        self.steady_s = 100.0

    def pass_by(self, seconds: float) -> None:
        """Let time pass."""
        self.now_ms += round(1000 * seconds)
        self.steady_s += seconds


@pytest.fixture
def clock() -> Clock:
    """Clocks of the asking daemon."""
    return Clock()


@pytest.fixture
def second() -> Iterator[Answering]:
    """keeper-2, which answers."""
    server = Answering(lambda request: request.give(BODY))
    yield server
    server.close()


def peers(clock: Clock, **urls: str) -> Peers:
    """The peers of keeper-1, by name (with _ for -)."""
    named = [Peer(name=name.replace("_", "-"), url=url) for name, url in urls.items()]
    return Peers(
        named,
        "keeper-1",
        clock=lambda: clock.now_ms,
        steady=lambda: clock.steady_s,
        within_s=5.0,
        every_s=0.01,
    )


def test_nothing_is_known_before_an_answer(clock: Clock, second: Answering) -> None:
    """One that was never asked does not answer."""
    (asked,) = peers(clock, keeper_2=second.url).seen()

    assert (asked.answers, asked.told, asked.answered_ms) == (False, None, None)


def test_many_looks_are_one_question(clock: Clock, second: Answering) -> None:
    """However many pages are open."""
    house = peers(clock, keeper_2=second.url)
    house.ask()
    looks = [house.seen() for _ in range(50)]

    assert len(second.asked) == 1
    assert all(look[0].told == WORDS and look[0].answers for look in looks)


def test_a_last_answer_counts_for_a_while_and_is_kept(clock: Clock, second: Answering) -> None:
    """One answer that fails is no reason to call a daemon dead; that none comes is."""
    house = peers(clock, keeper_2=second.url)
    house.ask()
    second.answer = lambda request: request.give(b"", 500)
    clock.pass_by(SILENT_AFTER_S)
    house.ask()
    (late,) = house.seen()
    clock.pass_by(1)
    (silent,) = house.seen()

    assert (late.answers, silent.answers) == (True, False)
    assert silent.told == WORDS
    assert silent.answered_ms == NOW_MS
    assert silent.why_not == "HTTP 500"


def test_an_answer_that_never_ends_is_silence(clock: Clock, second: Answering) -> None:
    """The asking itself may be stuck: what counts is when the last answer came."""
    house = peers(clock, keeper_2=second.url)
    house.ask()
    clock.pass_by(SILENT_AFTER_S + 1)
    (asked,) = house.seen()

    assert (asked.answers, asked.why_not) == (False, f"no answer within {SILENT_AFTER_S:g} s")


def test_a_first_answer_that_never_ends_is_silence_too(clock: Clock, second: Answering) -> None:
    """Nobody reads for hours that it has only just been asked."""
    house = peers(clock, keeper_2=second.url)
    (early,) = house.seen()
    clock.pass_by(SILENT_AFTER_S + 1)
    (late,) = house.seen()

    assert (early.why_not, late.why_not) == (None, f"no answer within {SILENT_AFTER_S:g} s")


def test_a_clock_that_is_put_right_makes_nobody_silent(clock: Clock, second: Answering) -> None:
    """Ages are told by the steady clock."""
    house = peers(clock, keeper_2=second.url)
    house.ask()
    clock.now_ms += 86_400_000

    assert house.seen()[0].answers


def test_one_that_hangs_holds_nobody_up(clock: Clock, second: Answering) -> None:
    """Each is asked on its own."""
    over = threading.Event()

    def hang(_request: Request) -> None:
        over.wait()

    hanging = Answering(hang)
    house = peers(clock, keeper_3=hanging.url, keeper_2=second.url)
    house.start()
    try:
        eventually(lambda: len(second.asked) > 2, "keeper-2 is asked again")
        stuck, well = house.seen()
        assert len(hanging.asked) == 1
        assert (stuck.answers, well.answers) == (False, True)
    finally:
        over.set()
        hanging.close()
        house.stop()


def test_a_failure_is_tried_again_sooner_than_a_refusal(clock: Clock, second: Answering) -> None:
    """A daemon that restarts is soon back; one that does not take our token is left in peace."""
    house = peers(clock, keeper_2=second.url)
    second.answer = lambda request: request.give(b"", 500)
    (failed_s,) = house.ask()
    second.answer = lambda request: request.give(b"", 401)
    (refused_s,) = house.ask()

    assert failed_s == AGAIN_S < EVERY_S < SILENT_AFTER_S < refused_s == REFUSED_EVERY_S


def test_the_log_tells_of_a_change_once(
    clock: Clock, second: Answering, caplog: pytest.LogCaptureFixture
) -> None:
    """A peer that is away for a night fills no disk."""
    house = peers(clock, keeper_2=second.url)
    caplog.set_level("INFO")
    second.answer = lambda request: request.give(b"", 500)
    for _ in range(3):
        house.ask()
    second.answer = lambda request: request.give(BODY)
    for _ in range(3):
        house.ask()

    assert [each.getMessage() for each in caplog.records if "house" in each.name] == [
        "keeper-2 does not answer: HTTP 500",
        "keeper-2 answers again",
    ]
