"""How long to wait before trying again: longer each time, never in step with others."""

import random


class Backoff:
    """Exponential delays with jitter, from ``first_s`` doubling to ``most_s``."""

    def __init__(self, first_s: float, most_s: float) -> None:
        self._first_s = first_s
        self._most_s = most_s
        self._tries = 0

    def next_s(self) -> float:
        """The next delay in seconds: half of it sure, half of it chance."""
        ceiling = min(self._most_s, self._first_s * 2.0 ** min(self._tries, 30))
        self._tries += 1
        return ceiling * (0.5 + 0.5 * random.random())  # noqa: S311 - spreads load, guards nothing

    def reset(self) -> None:
        """It worked: start from the shortest delay."""
        self._tries = 0
