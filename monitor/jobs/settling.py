"""Has it settled? The readings, journal and inhabitants of an enclosure, put before the judge."""

import datetime as dt

import numpy as np

from monitor.analysis.settling import Build, ProbeRecord, Samples, Settling, assess
from monitor.errors import NotFound
from monitor.quality import Reason
from monitor.quantities import Quantity
from monitor.setup.daylight import Daylight
from monitor.setup.models import Enclosure, Probe, Room
from monitor.setup.ranges import ranges_of
from monitor.species.library import Library
from monitor.species.profile import Crew, Kind
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import journal, setup
from monitor.times import DAY_MS, rfc3339

DAYS = 63
"""No criterion looks further back (docs/settling.md)."""
ENTRIES = 10_000


def settling_of(
    database: Database, readings: ReadingStore, library: Library, enclosure_id: str, at_ms: int
) -> Settling:
    """How far an enclosure has come as of a time.

    Raises:
        NotFound: no such enclosure is set up, or an inhabitant has no profile.
    """
    start_ms = at_ms - DAYS * DAY_MS
    with database.reading() as connection:
        place = setup.get(connection, enclosure_id).place
        if not isinstance(place, Enclosure):
            raise NotFound(f"{enclosure_id!r} is a room; only enclosures settle")
        room = setup.get(connection, place.room).place if place.room else None
        entries = journal.page(
            connection,
            enclosure_id,
            kinds=["inspection", "misted"],
            until_ms=at_ms + 1,
            limit=ENTRIES,
        )
    profiles = [library.profile(each.species) for each in place.inhabitant]
    crews = {profile.crew for profile in profiles}
    today = dt.datetime.fromtimestamp(at_ms / 1000, place.zone_info).date()
    owners: list[Room | Enclosure] = [place]
    if isinstance(room, Room):
        owners.append(room)
    probes = [
        _record(readings, owner.id, probe, start_ms, at_ms)
        for owner in owners
        for probe in owner.probe
    ]
    return assess(
        Build(
            at_ms=at_ms,
            clock=place.zone_info,
            is_day=Daylight(place.lights_on, place.lights_off, place.zone_info).is_day,
            probes=probes,
            built_on=place.built_on,
            ranges=ranges_of(place, library, today),
            dry_out=[profile.dry_out for profile in profiles if profile.dry_out is not None],
            journal=[row.entry for row in entries],
            has_springtails=Crew.SPRINGTAILS in crews,
            has_isopods=Crew.ISOPODS in crews,
            has_plants=any(profile.kind is Kind.PLANT for profile in profiles),
        )
    )


def wire(enclosure_id: str, settling: Settling) -> dict[str, object]:
    """The assessment as the API gives it."""
    return {
        "enclosure": enclosure_id,
        "at": rfc3339(settling.at_ms),
        "verdict": settling.verdict.value,
        "criteria": [
            {
                "name": each.name.value,
                "zone": each.zone,
                "quantity": each.quantity,
                "value": None if each.value is None else round(each.value, 4),
                "unit": each.unit,
                "required": each.required,
                "result": each.result.value,
                "says": each.says,
                "earliest": _day(each.earliest),
            }
            for each in settling.criteria
        ],
        "holds_it_up": settling.holds_it_up,
        "earliest": _day(settling.earliest),
        "asides": [
            {"name": each.name, "zone": each.zone, "value": round(each.value, 2), "says": each.says}
            for each in settling.asides
        ],
    }


def _day(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


def _record(
    readings: ReadingStore, place: str, probe: Probe, start_ms: int, at_ms: int
) -> ProbeRecord:
    def good(quantity: Quantity) -> Samples:
        track = readings.track(SeriesKey(place, probe.id, quantity), start_ms, at_ms + 1)
        kept = np.flatnonzero(track.reason == Reason.OK)
        return Samples(track.at_ms[kept], track.value[kept])

    return ProbeRecord(
        probe.id,
        probe.zone,
        probe.period_s,
        good(Quantity.TEMPERATURE),
        good(Quantity.HUMIDITY),
    )
