"""Sends the morning report, once on each day of its clock.

It looks every minute whether the report is due, rather than being woken at a time: neither a
machine that slept, nor a restart, nor a clock that skips or repeats the hour can make it late, lose
it or send it twice. The outbox knows by its key which days were sent; a missed report of today is
caught up, those of earlier days are not.
"""

import datetime as dt
import json
from collections.abc import Callable
from zoneinfo import ZoneInfo

from monitor.analysis.morning import Morning, sentence
from monitor.jobs.nights import Nights
from monitor.setup.daylight import reached_ms
from monitor.setup.reporting import ReportSettings
from monitor.store.rows import Notice
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import outbox
from monitor.times import rfc3339

LOOK_EVERY_S = 60.0
MORNING = "morning"


class Reporter:
    """Looks whether the report is due; ``told`` is called when one is in the outbox."""

    def __init__(
        self,
        database: Database,
        nights: Nights,
        settings: ReportSettings,
        clock: Callable[[], int],
        told: Callable[[], None],
    ) -> None:
        self._database = database
        self._nights = nights
        self._settings = settings
        self._zone = ZoneInfo(settings.timezone)
        self._clock = clock
        self._told = told
        self._done: dt.date | None = None

    def look(self) -> None:
        """Put today's report in the outbox if it is time and it is not there yet."""
        now_ms = self._clock()
        date = dt.datetime.fromtimestamp(now_ms / 1000, self._zone).date()
        due_ms = reached_ms(dt.datetime.combine(date, self._settings.at), self._zone)
        if date == self._done or now_ms < due_ms:
            return
        report = self._nights.morning(now_ms, self._zone)
        if report.reports:
            body = _body(report, now_ms)
            key = f"{MORNING}/{date}"
            notices = [Notice(name, key, MORNING, body) for name in self._settings.channels]
            with self._database.transaction() as connection:
                added = outbox.add(connection, notices, now_ms)
            if added:
                self._told()
        self._done = date


def _body(report: Morning, now_ms: int) -> str:
    """Short, for a phone: the whole of it is at the API."""
    told = {
        "event": MORNING,
        "date": report.date.isoformat(),
        "at": rfc3339(now_ms),
        "says": report.says,
        "text": report.text,
        "enclosures": [
            {
                "enclosure": each.enclosure.id,
                "name": each.enclosure.name,
                "needs": each.need.value,
                "says": sentence(each),
            }
            for each in report.reports
        ],
    }
    return json.dumps(told, ensure_ascii=False)
