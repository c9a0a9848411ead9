"""When humidity will cross a limit: asked for by a face, worked out once in some minutes."""

import datetime as dt
import threading
from collections.abc import Callable, Iterator
from typing import NamedTuple

from monitor.analysis.forecast import Forecast, LimitAhead, forecast
from monitor.jobs.histories import history_of
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Probe
from monitor.setup.ranges import ranges_of
from monitor.species.library import Library
from monitor.store.readings import ReadingStore
from monitor.times import HOUR_MS, MINUTE_MS, rfc3339

GOOD_FOR_MS = 5 * MINUTE_MS
AHEAD_MS = 14 * HOUR_MS


class _Kept(NamedTuple):
    at_ms: int
    told: dict[str, object]


class Foresight:
    """Forecasts of the range limits of humidity, remembered for some minutes; from any thread."""

    def __init__(self, readings: ReadingStore, library: Library, clock: Callable[[], int]) -> None:
        self._readings = readings
        self._library = library
        self._clock = clock
        self._lock = threading.Lock()
        self._kept: dict[tuple[str, str], _Kept] = {}

    def of(self, enclosure: Enclosure, probe: Probe) -> dict[str, object]:
        """For each side with a limit: the 80 % interval of its crossing, as the API gives it."""
        now_ms = self._clock()
        key = (enclosure.id, probe.id)
        with self._lock:
            kept = self._kept.get(key)
        if kept is None or abs(now_ms - kept.at_ms) > GOOD_FOR_MS:
            kept = _Kept(now_ms, self._told(enclosure, probe, now_ms))
            with self._lock:
                self._kept[key] = kept
        return kept.told

    def _told(self, enclosure: Enclosure, probe: Probe, now_ms: int) -> dict[str, object]:
        limits = list(self._limits(enclosure, probe, now_ms))
        sides = {
            side: any(getattr(limit, side) is not None for limit in limits)
            for side in ("low", "high")
        }
        if not any(sides.values()):
            return {}
        history = history_of(self._readings, enclosure.id, probe, now_ms)
        return {
            side: _wire(forecast(history, now_ms, limits, enclosure.zone_info, low=side == "low"))
            for side, limited in sides.items()
            if limited
        }

    def _limits(self, enclosure: Enclosure, probe: Probe, now_ms: int) -> Iterator[LimitAhead]:
        """The day and night limits from now on, for as long as a forecast reaches."""
        today = dt.datetime.fromtimestamp(now_ms / 1000, enclosure.zone_info).date()
        ranges = ranges_of(enclosure, self._library, today).get(probe.zone)
        if ranges is None:
            return
        lights = Daylight(enclosure.lights_on, enclosure.lights_off, enclosure.zone_info)
        edges, days = lights.segments(now_ms, now_ms + AHEAD_MS)
        for start_ms, day in zip(edges.tolist(), days.tolist(), strict=False):
            span = (ranges.day if day else ranges.night).humidity
            low, high = (None, None) if span is None else (span.low, span.high)
            yield LimitAhead(max(start_ms, now_ms), low, high)


def _wire(told: Forecast) -> dict[str, object]:
    return {
        "not_before": _time(told.not_before_ms),
        "likely": _time(told.likely_ms),
        "not_after": _time(told.not_after_ms),
        "says": told.says,
    }


def _time(at_ms: int | None) -> str | None:
    return None if at_ms is None else rfc3339(at_ms)
