"""What each series did so far, as far as judging its next reading needs it."""

import math
from collections.abc import Mapping
from typing import Any, NamedTuple, Self

import numpy as np
import numpy.typing as npt

from monitor.judge.rules import Rules
from monitor.quality import Reason
from monitor.store.readings import Ints, Latest

LONG_AGO_MS = -(2**62)
"""Before every reading."""

PAST = np.dtype(
    [
        ("newest_ms", np.int64),
        ("level", np.float64),
        ("level_ms", np.int64),
        ("pending", np.float64),
        ("pending_ms", np.int64),
        ("run_value", np.float64),
        ("run_since_ms", np.int64),
        ("run_length", np.int64),
    ],
    align=True,
)
"""``newest_ms``: the newest time seen. ``level``: the last believed value; ``pending``: the last
jump, while it waits to be confirmed (each NaN if there is none). ``run_*``: how long and how often
the newest value has stood still."""

_NOTHING = (LONG_AGO_MS, math.nan, LONG_AGO_MS, math.nan, LONG_AGO_MS, math.nan, LONG_AGO_MS, 0)


class Lesson(NamedTuple):
    """What a batch changes in the memory: new rows for some series ids, each id once."""

    series: Ints
    rows: npt.NDArray[Any]


class Memory:
    """One ``PAST`` for each series id. Changes only by :meth:`learn` and :meth:`grow`."""

    def __init__(self, size: int) -> None:
        self.rows = np.full(size, np.array(_NOTHING, PAST), PAST)

    @classmethod
    def recalled(cls, latest: Mapping[int, Latest], rules: Rules) -> Self:
        """A memory from the store's newest reading of each series, after a start.

        A value that had been flat stays so; one that had not starts its run anew. A jump that was
        waiting for confirmation is forgotten: the first reading after a start is believed.
        """
        memory = cls(max(len(rules.rows), max(latest, default=-1) + 1))
        for series, (at_ms, value, reason) in latest.items():
            row = memory.rows[series]
            if reason is Reason.FUTURE:  # its time is not its own
                continue
            row["newest_ms"] = at_ms
            if reason is Reason.STEP:
                continue
            row["level"] = row["run_value"] = value
            row["level_ms"] = row["run_since_ms"] = at_ms
            row["run_length"] = 1
            if reason is Reason.FLAT:
                row["run_since_ms"] -= rules.rows[series]["flat_after_ms"]
                row["run_length"] = rules.flat_readings
        return memory

    def __len__(self) -> int:
        return len(self.rows)

    def grow(self, size: int) -> None:
        """Make room for series ids below ``size``; what is known stays."""
        if size > len(self.rows):
            self.rows = np.concatenate([self.rows, Memory(size - len(self.rows)).rows])

    def learn(self, lesson: Lesson) -> None:
        """Take in what a committed verdict found."""
        self.rows.put(lesson.series, lesson.rows)
