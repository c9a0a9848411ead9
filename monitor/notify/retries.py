"""When to try again: exponential back-off with full jitter, for a day."""

from collections.abc import Callable

from monitor.errors import DeliveryError
from monitor.store.sqlite.state.outbox import Waiting
from monitor.times import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS

FIRST_DELAY_MS = SECOND_MS
LONGEST_DELAY_MS = 5 * MINUTE_MS
LONGEST_ASKED_MS = HOUR_MS
"""A receiver can ask for no longer pause than this: the alarm behind it may be urgent."""
GIVE_UP_AFTER_MS = DAY_MS

Draw = Callable[[float, float], float]
"""Gives a number between two others; ``random.uniform`` but in tests."""


def next_attempt_ms(entry: Waiting, failure: DeliveryError, now_ms: int, draw: Draw) -> int | None:
    """When to try an entry again after it just failed; None to give it up."""
    if not failure.retry or now_ms - entry.created_ms >= GIVE_UP_AFTER_MS:
        return None
    # Beyond the cap anyway; keeps the power small.
    doublings = min(entry.attempts, 30)
    ceiling_ms = min(FIRST_DELAY_MS * 2**doublings, LONGEST_DELAY_MS)
    return now_ms + max(round(draw(0, ceiling_ms)), asked_ms(failure))


def asked_ms(failure: DeliveryError) -> int:
    """How long the receiver asked to be left alone."""
    return round(min(1000 * (failure.after_s or 0.0), LONGEST_ASKED_MS))
