"""When a failed delivery is tried again."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.errors import DeliveryError
from monitor.notify.retries import GIVE_UP_AFTER_MS, next_attempt_ms
from monitor.store.rows import Notice
from monitor.store.sqlite.state.outbox import Waiting

NOTICE = Notice("phone", "a1/raised", "raised", "{}")


def test_the_longest_pauses_double_from_a_second_to_five_minutes() -> None:
    """1 s after the first failure, then twice as long each time, and never beyond 300 s."""
    pauses = []
    for attempts in range(12):
        again = next_attempt_ms(Waiting(1, NOTICE, 0, 0, attempts), DeliveryError("x"), 0, max)
        assert again is not None
        pauses.append(again / 1000)

    assert pauses == [1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300]


@given(attempts=st.integers(0, 10_000), rng=st.randoms(use_true_random=False))
def test_a_pause_lies_anywhere_below_the_longest(attempts: int, rng: Random) -> None:
    """Full jitter: clients of one receiver that came back do not all call at once."""
    entry = Waiting(1, NOTICE, 0, 0, attempts)
    failure = DeliveryError("x")

    longest = next_attempt_ms(entry, failure, 0, max)
    shortest = next_attempt_ms(entry, failure, 0, min)
    drawn = next_attempt_ms(entry, failure, 0, rng.uniform)

    assert shortest == 0
    assert drawn is not None
    assert longest is not None
    assert 0 <= drawn <= longest <= 300_000


@pytest.mark.parametrize(
    ("after_s", "pause_s"),
    [(0.0, 0), (90.0, 90), (3600.0, 3600), (1e6, 3600), (float("inf"), 3600)],
)
def test_a_receiver_is_left_alone_as_long_as_it_asks(after_s: float, pause_s: float) -> None:
    """But for no more than an hour."""
    failure = DeliveryError("HTTP 429", after_s=after_s)

    assert next_attempt_ms(Waiting(1, NOTICE, 0, 0, 0), failure, 0, min) == 1000 * pause_s


def test_what_cannot_succeed_is_given_up_at_once() -> None:
    """A refusal that will not pass is not repeated."""
    failure = DeliveryError("HTTP 404", retry=False)

    assert next_attempt_ms(Waiting(1, NOTICE, 0, 0, 0), failure, 0, min) is None


def test_after_a_day_an_entry_is_given_up() -> None:
    """24 hours from its beginning, at its next failure, and not before."""
    entry = Waiting(1, NOTICE, 5000, 0, 400)
    failure = DeliveryError("HTTP 500")

    assert GIVE_UP_AFTER_MS == 24 * 3600 * 1000
    assert next_attempt_ms(entry, failure, 5000 + GIVE_UP_AFTER_MS - 1, min) is not None
    assert next_attempt_ms(entry, failure, 5000 + GIVE_UP_AFTER_MS, min) is None
