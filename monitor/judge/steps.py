"""Jumps further than air can go, and the readings that confirm them."""

from math import isnan, nan
from typing import Any

import numpy as np
import numpy.typing as npt

from monitor.store.readings import Floats, Ints
from monitor.times import MINUTE_MS

NEAR = 0.25
"""Share of the largest believable step within which a reading confirms the jump before it."""

Mask = npt.NDArray[np.bool_]


def impossible_steps(
    at_ms: Ints,
    value: Floats,
    max_step: Floats,
    starts: Ints,
    past: npt.NDArray[Any],
    confirm_ms: int,
) -> Mask:
    """Which readings jumped too far from the last believed value and were not confirmed.

    Readings are sorted by series, then time; each series begins at one of ``starts`` and has its
    row of memory in ``past``, which is brought up to date. ``max_step`` is the largest believable
    change within a minute; it grows in proportion with a longer gap.

    A jump waits for the next reading: near the jump and within ``confirm_ms`` that is the new
    truth; back within reach of the old value the jump was a spike.
    """
    before, before_ms = np.empty_like(value), np.empty_like(at_ms)
    before[1:], before_ms[1:] = value[:-1], at_ms[:-1]
    before[starts], before_ms[starts] = past["level"], past["level_ms"]
    reach = max_step * np.maximum((at_ms - before_ms) / MINUTE_MS, 1.0)
    jumped = np.abs(value - before) > reach  # false where nothing was believed yet: NaN
    waiting = ~np.isnan(past["pending"])
    suspect = np.zeros(len(value), np.bool_)
    ends = np.append(starts[1:], len(value))

    # Where nothing jumps and nothing waits, every reading is believed: only the others are walked.
    quiet = ~(waiting | np.logical_or.reduceat(jumped, starts))
    if not quiet.all():
        for place in np.flatnonzero(~quiet).tolist():
            span = slice(starts[place], ends[place])
            suspect[span] = _walk(
                at_ms[span].tolist(),
                value[span].tolist(),
                float(max_step[starts[place]]),
                past[place : place + 1],
                confirm_ms,
            )
    past["level"] = np.where(quiet, value[ends - 1], past["level"])
    past["level_ms"] = np.where(quiet, at_ms[ends - 1], past["level_ms"])
    return suspect


def _walk(
    at_ms: list[int],
    value: list[float],
    max_step: float,
    past: npt.NDArray[Any],
    confirm_ms: int,
) -> list[bool]:
    """The rule for one series, reading by reading; ``past`` is its row, brought up to date."""
    names = ["level", "level_ms", "pending", "pending_ms"]
    level, level_ms, pending, pending_ms = past[names].item()
    suspects = []
    for at, now in zip(at_ms, value, strict=True):
        reach = max_step * max((at - level_ms) / MINUTE_MS, 1.0)
        believed = isnan(level) or abs(now - level) <= reach
        confirmed = at - pending_ms <= confirm_ms and abs(now - pending) <= NEAR * max_step
        if believed or confirmed:
            level, level_ms, pending = now, at, nan
        else:
            pending, pending_ms = now, at
        suspects.append(not (believed or confirmed))
    past[names] = (level, level_ms, pending, pending_ms)
    return suspects
