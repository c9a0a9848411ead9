"""What is done to an enclosure by timer and by hand: misting, and opening the lid.

Each misting and each day's opening has a random stream of its own, keyed by its time, so that it
comes out the same wherever a stretch of simulated time happens to begin.
"""

from zoneinfo import ZoneInfo

import numpy as np

from monitor.simulation import wall_clock
from monitor.simulation.courses import Column
from monitor.simulation.faults import Fault, FaultKind, level, select
from monitor.simulation.models import EnclosureModel
from monitor.simulation.record import Event, Times

MINUTE_MS = 60_000


def mist(
    model: EnclosureModel,
    faults: tuple[Fault, ...],
    clock: ZoneInfo,
    key: tuple[int, ...],
    ends_ms: Times,
    step_ms: int,
) -> tuple[Column, list[Event]]:
    """Grams of mist in each step, and a ``misted`` event for each start among them."""
    start_ms, end_ms = int(ends_ms[0]) - step_ms, int(ends_ms[-1])
    failures = select(faults, FaultKind.MISTER_FAILURE, model.id)
    grams = np.zeros(len(ends_ms))
    events = []
    for plan in model.misting:
        length_ms = round(1000 * plan.seconds)
        for at_ms in wall_clock.occurrences(plan.times, clock, start_ms - length_ms, end_ms):
            lost = min(1.0, float(level(failures, np.array([at_ms]))[0]))
            if lost >= 1.0:
                continue
            luck = _stream(key, at_ms).standard_normal()
            rate = plan.dose_g_per_s * (1.0 - lost) * max(0.2, 1.0 + plan.spread * luck)
            _pour(grams, rate / 1000, at_ms, at_ms + length_ms, start_ms, step_ms)
            if at_ms >= start_ms:
                events.append(Event(at_ms, model.id, "misted", {"seconds": plan.seconds}))
    return grams, events


def opened(
    model: EnclosureModel,
    faults: tuple[Fault, ...],
    clock: ZoneInfo,
    key: tuple[int, ...],
    ends_ms: Times,
    step_ms: int,
) -> tuple[Column, list[Event]]:
    """Air exchange that open lids add in each step, per hour, and an event for each by hand."""
    start_ms, end_ms = int(ends_ms[0]) - step_ms, int(ends_ms[-1])
    added = level(select(faults, FaultKind.LID_OPEN, model.id), ends_ms - step_ms)
    events: list[Event] = []
    if model.opening is None:
        return added, events
    length_ms = round(model.opening.minutes * MINUTE_MS)
    for at_ms in wall_clock.occurrences(
        (model.opening.at,), clock, start_ms - length_ms - 60 * MINUTE_MS, end_ms
    ):
        stream = _stream(key, at_ms)
        opens_ms = at_ms + int(stream.integers(0, 60)) * MINUTE_MS
        if stream.random() >= model.opening.chance or opens_ms >= end_ms:
            continue
        share = np.zeros(len(ends_ms))
        _pour(share, 1.0 / step_ms, opens_ms, opens_ms + length_ms, start_ms, step_ms)
        added += model.opening.exchange * share
        if opens_ms >= start_ms:
            detail: dict[str, float | bool | str] = {
                "note": "lid opened",
                "seconds": length_ms / 1000,
            }
            events.append(Event(opens_ms, model.id, "maintenance", detail))
    return added, events


def lamp_burns(
    model: EnclosureModel, faults: tuple[Fault, ...], clock: ZoneInfo, ends_ms: Times, step_ms: int
) -> tuple[Column, Column]:
    """Whether the timer wants light in each step, and whether the lamp burns (0 or 1 each)."""
    starts_ms = ends_ms - step_ms
    seconds = wall_clock.seconds_of_day(starts_ms, clock)
    wanted = wall_clock.between(seconds, model.lights_on, model.lights_off)
    stuck = level(select(faults, FaultKind.LAMP_STUCK_ON, model.id), starts_ms) > 0.0
    broken = level(select(faults, FaultKind.LAMP_FAILURE, model.id), starts_ms) > 0.0
    return wanted.astype(np.float64), ((wanted | stuck) & ~broken).astype(np.float64)


def _stream(key: tuple[int, ...], at_ms: int) -> np.random.Generator:
    return np.random.default_rng([*key, at_ms // 1000])


def _pour(
    column: Column, per_ms: float, first_ms: int, last_ms: int, start_ms: int, step_ms: int
) -> None:
    """Spread what flows at ``per_ms`` from first to last over the steps of the column."""
    index = max(0, (first_ms - start_ms) // step_ms)
    while index < len(column):
        begins = start_ms + index * step_ms
        if begins >= last_ms:
            return
        overlap = min(last_ms, begins + step_ms) - max(first_ms, begins)
        if overlap > 0:
            column[index] += per_ms * overlap
        index += 1
