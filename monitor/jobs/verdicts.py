"""Judges builds anew every day, and remembers the verdicts.

It looks every minute which builds are due, rather than being woken at a time, for the reasons of
the morning report (``monitor.jobs.reporter``). Verdict, notice and alarm are kept by the ingest
thread in one transaction; a build whose verdict could not be kept is due again a minute later.
"""

import datetime as dt
import json
import logging
from collections.abc import Callable, Sequence

from monitor.analysis.settling import Verdict
from monitor.errors import DewkeepError, StoreError
from monitor.jobs.settling import Assessed, Assessor
from monitor.setup.daylight import reached_ms
from monitor.setup.models import Enclosure
from monitor.setup.settling import SettlingSettings
from monitor.store.rows import Notice, VerdictRow
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import setup, verdicts
from monitor.times import rfc3339

log = logging.getLogger(__name__)

LOOK_EVERY_S = 60.0
MOST_A_LOOK = 20
"""Judged in one look, so that in a house of hundreds other jobs come to their turn."""
CHANGED = "settling"

Ruling = tuple[VerdictRow, Sequence[Notice], str | None]
"""A verdict to keep, who is told if it is news, and what undid a settled build, if anything did."""


class Verdicts:
    """Judges what is due; ``keep`` has the ingest thread keep a ruling and waits for that.

    Due are enclosures with a day of building, and those that anyone had judged before.
    """

    def __init__(
        self,
        database: Database,
        assessor: Assessor,
        settings: SettlingSettings,
        keep: Callable[[Ruling], None],
        clock: Callable[[], int],
    ) -> None:
        self._database = database
        self._assessor = assessor
        self._settings = settings
        self._keep = keep
        self._clock = clock
        self._given_up: dict[str, dt.date] = {}

    def look(self) -> None:
        """Judge the builds whose time of day has come since they were last judged."""
        now_ms = self._clock()
        with self._database.reading() as connection:
            enclosures = setup.everything(connection).enclosure
            asked = verdicts.asked_at_ms(connection, now_ms)
        due = [
            each
            for each in enclosures
            if (each.built_on is not None or each.id in asked)
            and asked.get(each.id, 0) < self._due_ms(each, now_ms) <= now_ms
            and self._given_up.get(each.id) != _today(each, now_ms)
        ]
        for enclosure in due[:MOST_A_LOOK]:
            try:
                assessed = self._assessor.assess(enclosure.id, now_ms)
            except StoreError:
                raise
            except Exception as exc:
                # One that cannot be judged must not keep the others from it for ever.
                mistake = not isinstance(exc, DewkeepError)
                log.error(
                    "enclosure %s cannot be judged today: %s", enclosure.id, exc, exc_info=mistake
                )
                self._given_up[enclosure.id] = _today(enclosure, now_ms)
            else:
                self._keep(ruling(assessed, self._settings.channels))

    def _due_ms(self, enclosure: Enclosure, now_ms: int) -> int:
        due = dt.datetime.combine(_today(enclosure, now_ms), self._settings.at)
        return reached_ms(due, enclosure.zone_info)


def _today(enclosure: Enclosure, now_ms: int) -> dt.date:
    return dt.datetime.fromtimestamp(now_ms / 1000, enclosure.zone_info).date()


def ruling(assessed: Assessed, channels: Sequence[str]) -> Ruling:
    """What is to be kept of an assessment, told on some channels, and watched."""
    enclosure, settling = assessed.enclosure, assessed.settling
    row = VerdictRow(
        place=enclosure.id,
        since_ms=settling.at_ms,
        at_ms=settling.at_ms,
        verdict=settling.verdict.value,
        built_on=enclosure.built_on,
        says=settling.holds_it_up,
    )
    undone = assessed.has_settled and settling.verdict is not Verdict.SETTLED
    body = _body(assessed)
    notices = [
        Notice(name, f"{CHANGED}/{enclosure.id}/{settling.at_ms}", CHANGED, body)
        for name in channels
    ]
    return row, notices, settling.holds_it_up if undone else None


def _body(assessed: Assessed) -> str:
    settling, name = assessed.settling, assessed.enclosure.name
    now = _NOW[settling.verdict]
    if assessed.before is Verdict.SETTLED and settling.verdict is not Verdict.SETTLED:
        now = "is no longer settled"
    says = f"{name} {now}."
    if settling.holds_it_up is not None:
        says = f"{says} {settling.holds_it_up}"
    told = {
        "event": CHANGED,
        "enclosure": assessed.enclosure.id,
        "enclosure_name": name,
        "at": rfc3339(settling.at_ms),
        "verdict": settling.verdict.value,
        "before": assessed.before.value,
        "earliest": settling.earliest and settling.earliest.isoformat(),
        "says": says,
    }
    return json.dumps(told, ensure_ascii=False)


_NOW = {
    Verdict.COLLECTING: "has too few readings to be judged",
    Verdict.UNSETTLED: "has not settled: something is in the way that time alone will not cure",
    Verdict.SETTLING: "is settling: only time, or a look, is missing",
    Verdict.SETTLED: "has settled: nothing measured or written down speaks against moving in. "
    "Look for yourself before you do",
}
