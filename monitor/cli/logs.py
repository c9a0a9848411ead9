"""The log of a running daemon, on standard error: for people or for programs, never a flood."""

import json
import logging
import threading
import time
from collections.abc import Callable
from typing import Any

from monitor.setup.log import LogSettings
from monitor.times import rfc3339

MOST_ALIKE = 20
WITHIN_S = 60.0
"""So many lines that are alike are written within a minute; the next one then says how many were
left out."""
MOST_KINDS = 1_000


def log_to_stderr(settings: LogSettings | None = None) -> None:
    """Set logging up for this process."""
    settings = settings or LogSettings()
    handler = logging.StreamHandler()
    handler.addFilter(NoFlood())
    handler.setFormatter(
        JsonLines()
        if settings.format == "json"
        else logging.Formatter(
            "%(asctime)s %(levelname)-7s %(name)s: %(message)s", "%Y-%m-%dT%H:%M:%S%z"
        )
    )
    logging.basicConfig(level=settings.level.upper(), handlers=[handler])


class JsonLines(logging.Formatter):
    """One JSON object a line: ``at``, ``level``, ``logger``, ``says``, and ``trace`` if any."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        line: dict[str, Any] = {
            "at": rfc3339(round(record.created * 1000)),
            "level": record.levelname.lower(),
            "logger": record.name,
            "says": record.getMessage(),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)


class NoFlood(logging.Filter):
    """Lets so many lines of one kind pass in a while; of what kind a line is, its template says.

    Whoever can make dewkeep log something must not be able to fill its disk.
    """

    def __init__(self, most: int = MOST_ALIKE, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._most = most
        self._clock = clock
        self._lock = threading.Lock()
        self._seen: dict[tuple[str, str], tuple[float, int]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether a line is written."""
        with self._lock:
            return self._may_pass(record)

    def _may_pass(self, record: logging.LogRecord) -> bool:
        kind = (record.name, str(record.msg))
        now = self._clock()
        since, count = self._seen.get(kind, (now, 0))
        left_out = 0
        if now - since >= WITHIN_S:
            left_out = max(0, count - self._most)
            since, count = now, 0
        if kind not in self._seen and len(self._seen) >= MOST_KINDS:
            del self._seen[next(iter(self._seen))]
        self._seen[kind] = (since, count + 1)
        if left_out:
            record.msg = f"{record.msg} (and {left_out} more like it since last told)"
        return count < self._most
