"""Repeats: which readings of a batch a server has already, so that the first one kept stays."""

from collections.abc import Mapping, Sequence

import numpy as np

from monitor.store.readings import Flags, Readings, SeriesKey, Track
from monitor.store.remote.engine import Engine

ASKED_SINGLY = 8
"""Up to so many series are looked up one by one, each in its own span."""


def first_of_each(readings: Readings) -> Readings:
    """Each series and time once, the first to arrive, sorted by series and time."""
    readings = readings.part(np.lexsort((readings.at_ms, readings.series)))
    once = np.ones(len(readings), np.bool_)
    once[1:] = (np.diff(readings.series) != 0) | (np.diff(readings.at_ms) != 0)
    return readings.part(once)


def are_there(
    engine: Engine,
    key_of: Mapping[int, SeriesKey],
    readings: Readings,
    before: Sequence[Readings],
) -> Flags:
    """Which readings (sorted by series) the server has.

    ``before``: what it was sent so lately that it may not find it yet.
    """
    there = np.zeros(len(readings), np.bool_)
    starts = np.flatnonzero(np.diff(readings.series, prepend=-1))
    tracks: Mapping[SeriesKey, Track] = {}
    if len(starts) > ASKED_SINGLY:
        keys = [key_of[int(readings.series[first])] for first in starts]
        tracks = engine.tracks(keys, int(readings.at_ms.min()), int(readings.at_ms.max()) + 1)
    for first, end in zip(starts, [*starts[1:], len(readings)], strict=True):
        series, at_ms = int(readings.series[first]), readings.at_ms[first:end]
        key = key_of[series]
        if len(starts) <= ASKED_SINGLY:
            tracks = engine.tracks([key], int(at_ms.min()), int(at_ms.max()) + 1)
        if key in tracks:
            there[first:end] = np.isin(at_ms, tracks[key].at_ms)
        for each in before:
            there[first:end] |= np.isin(at_ms, each.at_ms[each.series == series])
    return there
