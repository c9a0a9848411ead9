"""How long a fault is kept up: short for every run of the tests, long for the record."""

from collections.abc import Callable
from dataclasses import dataclass

PeakBytes = Callable[[], int]


class Skipped(Exception):
    """A fault that cannot be made on this machine, and why."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Short or long."""

    long: bool
    away_s: int | None = None
    """How long the broker is out of reach, where that was asked for."""

    def of(self, short: int, long: int) -> int:
        """The number that goes with the scale."""
        return long if self.long else short
