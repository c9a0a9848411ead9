"""One batch of readings judged."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from monitor.judge.memory import LONG_AGO_MS, Lesson, Memory
from monitor.judge.rules import Rules
from monitor.judge.runs import flat_lines
from monitor.judge.steps import Mask, impossible_steps
from monitor.quality import Reason
from monitor.store.readings import Codes, Floats, Ints, Readings


@dataclass(frozen=True, slots=True)
class Verdict:
    """A judged batch.

    ``readings``: what is worth keeping, calibrated and with its reasons, sorted by series, then
    time; ``position``: where in the batch each of them stood; ``late``: which are older than a
    reading of their series judged before; ``repeated``: how many were left out because their series
    already has that time; ``lesson``: for ``Memory.learn``, once the readings are committed.
    """

    readings: Readings
    position: Ints
    late: Mask
    repeated: int
    lesson: Lesson


def judge(rules: Rules, memory: Memory, batch: Readings, now_ms: int) -> Verdict:
    """How far each reading of a batch can be trusted. Changes none of its arguments.

    ``batch`` holds raw values, in any order; its reasons are not read. ``rules`` and ``memory``
    have a row for every series in it. ``now_ms`` is when the batch arrived, epoch ms UTC.

    - A time that lies too far ahead: kept under ``now_ms``, FUTURE.
    - A raw value no working sensor gives: kept as it came, LIMIT.
    - Any other value is calibrated; what then falls outside the limits is set to the limit.
    - A late reading is judged by these rules only; the others for STEP and FLAT too.
    - What is left of a probe that is not in its place, or is FLAT there: AWAY.
    """
    ahead = batch.at_ms > now_ms + rules.future_ms
    at_ms = np.where(ahead, now_ms, batch.at_ms)
    # among equal times a reading whose time was replaced comes last: it is the one to be dropped
    position = np.lexsort((ahead, at_ms, batch.series))
    series, at_ms = batch.series[position], at_ms[position]

    newest_ms = memory.rows["newest_ms"].take(series)
    repeat = at_ms == newest_ms
    repeat[1:] |= (series[1:] == series[:-1]) & (at_ms[1:] == at_ms[:-1])
    repeated = int(np.count_nonzero(repeat))
    if repeated:
        once = ~repeat
        position, series, at_ms = position[once], series[once], at_ms[once]
        newest_ms = newest_ms[once]
    ahead = ahead[position]
    late = at_ms < newest_ms
    rule = rules.rows.take(series)
    raw = batch.value[position]
    bad = (raw < rule["bad_below"]) | (raw > rule["bad_above"])
    within = np.clip(raw, rule["bad_below"], rule["bad_above"])
    value = np.where(bad, raw, _calibrated(within, rule))

    reason = np.zeros(len(series), np.uint8)
    reason[ahead] = Reason.FUTURE
    reason[bad] = Reason.LIMIT

    starts = _starts(series)
    known = series[starts]
    past = memory.rows.take(known)
    if len(known):
        own_ms = np.where(ahead, LONG_AGO_MS, at_ms)
        past["newest_ms"] = np.maximum(past["newest_ms"], np.maximum.reduceat(own_ms, starts))
    sound = np.flatnonzero(~(bad | late | ahead))
    if len(sound):
        sound_starts = _starts(series[sound])
        places = np.searchsorted(known, series[sound[sound_starts]])
        theirs = past.take(places)
        reason[sound] = _movement(
            at_ms[sound], value[sound], rule.take(sound), sound_starts, theirs, rules
        )
        past.put(places, theirs)
    # A salt box is there to stand still in.
    reason[rule["away"] & np.isin(reason, (Reason.OK, Reason.FLAT))] = Reason.AWAY
    return Verdict(
        Readings(series, at_ms, value, reason), position, late, repeated, Lesson(known, past)
    )


def _starts(series: Ints) -> Ints:
    """Where each series begins in a sorted column."""
    new = np.ones(len(series), np.bool_)
    np.not_equal(series[1:], series[:-1], out=new[1:])
    return np.flatnonzero(new)


def _calibrated(raw: Floats, rule: npt.NDArray[Any]) -> Floats:
    """Raw values within what a sensor can give, corrected and within the limits."""
    value = raw
    corrected = rule["corrected"]
    if corrected.any():
        # 23.4 + 0.3 is 23.699999999999996: the tail means nothing and would be stored in twice the
        # space. What no correction touches stays as the sensor gave it, to the last bit.
        exact = np.round(raw * rule["gain"] + rule["offset"], 3)
        value = np.where(corrected, exact, raw)
    return np.clip(value, rule["lowest"], rule["highest"])


def _movement(
    at_ms: Ints,
    value: Floats,
    rule: npt.NDArray[Any],
    starts: Ints,
    past: npt.NDArray[Any],
    rules: Rules,
) -> Codes:
    """STEP or FLAT where it applies; ``past`` is brought up to date."""
    flat = flat_lines(
        at_ms, value, rule["flat_after_ms"], rule["flat_below"], starts, past, rules.flat_readings
    )
    step = impossible_steps(at_ms, value, rule["max_step"], starts, past, rules.confirm_ms)
    reason = np.zeros(len(value), np.uint8)
    reason[flat] = Reason.FLAT
    reason[step] = Reason.STEP
    return reason
