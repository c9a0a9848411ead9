"""The set-up in force, compiled for the ingest: who publishes, what is watched, who is told."""

import datetime as dt
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from monitor.alarms.notices import Whereabouts, whereabouts
from monitor.alarms.rules import Rules, compile_rules
from monitor.ingest.roster import Roster
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Setup
from monitor.setup.ranges import ranges_in_force
from monitor.setup.settings import Settings
from monitor.species.library import Library
from monitor.species.ranges import Zone, ZoneRange
from monitor.store.readings import ReadingStore, SeriesKey
from monitor.store.sqlite.state import setup as setup_state
from monitor.times import DAY_MS

USUAL = (Quantity.TEMPERATURE, Quantity.HUMIDITY)


@dataclass(frozen=True, slots=True)
class Standing:
    """One revision of the set-up, as of one day."""

    revision: int
    until_ms: int
    """When the ranges are to be looked up again: some enclosure's next midnight."""
    series: Mapping[SeriesKey, int]
    """All series known when it was compiled."""
    roster: Roster
    rules: Rules
    places: Mapping[str, Whereabouts]


def stand(
    connection: sqlite3.Connection,
    library: Library,
    settings: Settings,
    readings: ReadingStore,
    now_ms: int,
) -> Standing:
    """Compile what is ours of the stored set-up; probes get the series that nearly all send."""
    setup = setup_state.everything(connection)
    ours = setup.only(settings.share.has)
    elsewhere = setup.only(lambda place: not settings.share.has(place))
    usual = [
        SeriesKey(place.id, probe.id, quantity)
        for place in ours.places
        for probe in place.probe
        for quantity in USUAL
    ]
    known = {**readings.known_series(), **dict(zip(usual, readings.series_ids(usual), strict=True))}
    return Standing(
        revision=setup_state.revision(connection),
        until_ms=min(
            (_midnight_ms(enclosure, now_ms) for enclosure in ours.enclosure),
            default=now_ms + DAY_MS,
        ),
        series=known,
        roster=Roster(ours, settings.source, known, elsewhere),
        rules=compile_rules(ours, _ranges(ours, library, now_ms), settings.alarms),
        places=whereabouts(setup),
    )


def _ranges(setup: Setup, library: Library, now_ms: int) -> dict[tuple[str, Zone], ZoneRange]:
    return {
        (enclosure.id, zone): span
        for enclosure in setup.enclosure
        for zone, span in ranges_in_force(
            enclosure, library, _local(enclosure, now_ms).date()
        ).items()
    }


def _local(enclosure: Enclosure, at_ms: int) -> dt.datetime:
    return dt.datetime.fromtimestamp(at_ms / 1000, enclosure.zone_info)


def _midnight_ms(enclosure: Enclosure, now_ms: int) -> int:
    tomorrow = _local(enclosure, now_ms).date() + dt.timedelta(days=1)
    midnight = dt.datetime.combine(tomorrow, dt.time(), enclosure.zone_info)
    return round(midnight.timestamp() * 1000)
