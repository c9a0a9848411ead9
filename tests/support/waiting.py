"""Waiting for something to become true, with a limit."""

import time
from collections.abc import Callable
from typing import TypeVar

Found = TypeVar("Found")


def eventually(
    look: Callable[[], Found], what: str, within_s: float = 20.0, every_s: float = 0.02
) -> Found:
    """The first truthy answer of ``look``; fails the test if none comes in time."""
    until = time.monotonic() + within_s
    while True:
        found = look()
        if found:
            return found
        if time.monotonic() > until:
            raise AssertionError(f"not within {within_s:g} s: {what} (last: {found!r})")
        time.sleep(every_s)
