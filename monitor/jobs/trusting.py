"""Can the probes be believed? Checked once a day, and when somebody asks."""

import json
import logging
import sqlite3
from typing import Any

import numpy as np

from monitor.analysis.trust import Advice, Misting, Past, Trust, trust
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.calibration import Certificate
from monitor.setup.journal import Source
from monitor.setup.models import Correction, Probe
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import calibrations, journal, setup, trusts
from monitor.store.sqlite.state.setup import Place
from monitor.times import DAY_MS, HOUR_MS, parse_rfc3339, rfc3339

log = logging.getLogger(__name__)

LOOKED_BACK_MS = 28 * DAY_MS
GOOD_FOR_MS = HOUR_MS
"""What was found less than an hour ago is told again to those who ask about a place."""
ALL_GOOD_FOR_MS = 26 * HOUR_MS
"""To those who ask about all, what the daily look found: a large room takes seconds."""
BACK_MS = HOUR_MS
"""So long a probe that came out of a salt box needs to be in its place again."""
ALL = 10_000


class Trusting:
    """The checks of all probes; what they found is kept, so that an advice knows since when."""

    def __init__(self, database: Database, readings: ReadingStore) -> None:
        self._database = database
        self._readings = readings

    def look_at_all(self, now_ms: int) -> None:
        """Check every probe there is; tells the log what is new."""
        self.everywhere(now_ms, fresh=True)

    def of(self, place: str, now_ms: int, *, fresh: bool = False) -> dict[str, Any]:
        """What is advised about the probes of one place; found now, or within the hour.

        Raises:
            NotFound: it is not set up.
        """
        return self._found(place, now_ms, 0 if fresh else GOOD_FOR_MS)

    def everywhere(self, now_ms: int, *, fresh: bool = False) -> list[dict[str, Any]]:
        """The same for all places; found now, or within about a day."""
        with self._database.reading() as connection:
            places = [place.id for place in setup.everything(connection).places]
        good_for_ms = 0 if fresh else ALL_GOOD_FOR_MS
        return [self._found(place, now_ms, good_for_ms) for place in places]

    def _found(self, place: str, now_ms: int, good_for_ms: int) -> dict[str, Any]:
        with self._database.reading() as connection:
            setup.get(connection, place)
            kept = trusts.get(connection, place)
        if kept is not None and 0 <= now_ms - kept.at_ms < good_for_ms:
            found: dict[str, Any] = json.loads(kept.body)
            return found
        return self._look(place, now_ms)

    def _look(self, place_id: str, now_ms: int) -> dict[str, Any]:
        start_ms = now_ms - LOOKED_BACK_MS
        with self._database.reading() as connection:
            place = setup.get(connection, place_id).place
            mistings = _mistings(connection, place, start_ms, now_ms)
            papers = {probe.id: _certificate(connection, place, probe) for probe in place.probe}
            away = {
                probe.id: calibrations.times_boxed(connection, place.id, probe.id, start_ms)
                for probe in place.probe
            }
            before = trusts.get(connection, place_id)
        pasts = [
            self._past(place, probe, mistings, papers[probe.id], away[probe.id], now_ms)
            for probe in place.probe
        ]
        since = _since(before)
        found = _wire(place_id, trust(pasts, now_ms), since, now_ms)
        with self._database.transaction() as connection:
            trusts.put(connection, place_id, now_ms, json.dumps(found, ensure_ascii=False))
        for probe in found["probes"]:
            for advice in probe["advice"]:
                if (probe["probe"], advice["check"]) not in since:
                    log.info("probe %s/%s: %s", place_id, probe["probe"], advice["says"])
        return found

    def _past(
        self,
        place: Place,
        probe: Probe,
        mistings: list[Misting],
        certificate: Certificate | None,
        away: list[tuple[int, int | None]],
        now_ms: int,
    ) -> Past:
        """What was believed while the probe was in its place."""
        temperature, humidity = (
            self._readings.track(
                SeriesKey(place.id, probe.id, quantity), now_ms - LOOKED_BACK_MS, now_ms + 1
            )
            for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY)
        )
        at_ms, first, second = np.intersect1d(
            temperature.at_ms, humidity.at_ms, assume_unique=True, return_indices=True
        )
        charge = self._readings.track(
            SeriesKey(place.id, probe.id, Quantity.BATTERY), now_ms - LOOKED_BACK_MS, now_ms + 1
        )
        charge_left = charge.value[charge.reason == Reason.OK]
        good = np.maximum(temperature.reason[first], humidity.reason[second]) == Reason.OK
        for start_ms, end_ms in away:
            back_ms = now_ms if end_ms is None else end_ms + BACK_MS
            good &= (at_ms < start_ms) | (at_ms > back_ms)
        return Past(
            probe.id,
            probe.zone,
            probe.period_s,
            at_ms[good],
            temperature.value[first][good],
            humidity.value[second][good],
            mistings,
            certificate,
            float(charge_left[-1]) if len(charge_left) else None,
        )


def _certificate(connection: sqlite3.Connection, place: Place, probe: Probe) -> Certificate | None:
    """The certificate of the correction in force; none, if that came from elsewhere since."""
    found = calibrations.in_force(connection, place.id, probe.id)
    correction = probe.calibration.get(Quantity.HUMIDITY, Correction())
    return found if found is not None and found.correction == correction else None


def _mistings(
    connection: sqlite3.Connection, place: Place, start_ms: int, now_ms: int
) -> list[Misting]:
    rows = journal.page(
        connection, place.id, kinds=["misted"], since_ms=start_ms, until_ms=now_ms, limit=ALL
    )
    return [Misting(row.entry.at_ms, row.source is Source.MISTER) for row in reversed(rows)]


def _since(before: trusts.TrustRow | None) -> dict[tuple[str, str], int]:
    """Since when each advice stands, by probe and check."""
    if before is None:
        return {}
    return {
        (probe["probe"], advice["check"]): parse_rfc3339(advice["since"])
        for probe in json.loads(before.body)["probes"]
        for advice in probe["advice"]
    }


def _wire(
    place: str, found: list[Trust], since: dict[tuple[str, str], int], now_ms: int
) -> dict[str, Any]:
    return {
        "place": place,
        "at": rfc3339(now_ms),
        "probes": [
            {
                "probe": each.probe,
                "zone": each.zone,
                "uncertainty": round(each.uncertainty, 2),
                "calibration": _papers(each.certificate, now_ms),
                "says": each.says,
                "advice": [
                    _advice(advice, since.get((each.probe, advice.check), now_ms))
                    for advice in each.advice
                ],
            }
            for each in found
        ],
    }


def _papers(certificate: Certificate | None, now_ms: int) -> dict[str, Any]:
    if certificate is None:
        return {"state": "none", "made_at": None, "due_at": None}
    return {
        "state": "overdue" if now_ms > certificate.due_ms else "valid",
        "made_at": rfc3339(certificate.made_ms),
        "due_at": rfc3339(certificate.due_ms),
    }


def _advice(advice: Advice, since_ms: int) -> dict[str, Any]:
    return {
        "check": advice.check,
        "confidence": advice.confidence,
        "since": rfc3339(since_ms),
        "figures": dict(advice.figures),
        "says": advice.says,
        "do": advice.do,
    }
