"""Waiting between tries."""

from itertools import islice

from hypothesis import given
from hypothesis import strategies as st

from monitor.ingest.backoff import Backoff


@given(st.floats(0.01, 10), st.floats(10, 1000))
def test_delays_grow_to_a_bound_and_no_further(first_s: float, most_s: float) -> None:
    """Try after try at least half and at most all of a ceiling that doubles up to ``most_s``."""
    backoff = Backoff(first_s, most_s)
    for tries in range(50):
        ceiling = min(most_s, first_s * 2**tries)
        assert ceiling / 2 <= backoff.next_s() <= ceiling


def test_a_success_starts_over() -> None:
    """After a reset the first delay is a short one again."""
    backoff = Backoff(1.0, 60.0)
    for _ in range(10):
        backoff.next_s()
    backoff.reset()

    assert backoff.next_s() <= 1.0


def test_two_that_fail_together_do_not_try_together() -> None:
    """Chance keeps clients of one broker out of step."""
    one, other = Backoff(1.0, 60.0), Backoff(1.0, 60.0)

    assert list(islice(iter(one.next_s, None), 5)) != list(islice(iter(other.next_s, None), 5))
