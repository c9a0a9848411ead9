"""Looks up what the room page is made from."""

import json
import sqlite3
from collections.abc import Callable

from monitor.api.parts import Parts
from monitor.ingest import filing
from monitor.quantities import Quantity
from monitor.setup.journal import Misted
from monitor.setup.models import Setup
from monitor.store.many import many
from monitor.store.readings import SeriesKey
from monitor.store.sqlite.state import explanations, journal, setup
from monitor.web import words
from monitor.web.enclosure import ranges_at, ribbon_probe
from monitor.web.known import Explanation, Known, Past, by_place
from monitor.web.ribbon import STEP_S, WINDOW_MS, window_end
from monitor.web.units import Units


def look(
    parts: Parts,
    units: Units,
    set_up: Callable[[sqlite3.Connection], Setup] = setup.everything,
) -> Known:
    """All that is known now of what ``set_up`` gives, the whole set-up or a part of it."""
    now_ms = parts.clock()
    newest = parts.readings.latest()
    latest = {
        key: reading
        for key, series in parts.readings.known_series().items()
        if (reading := newest.get(series)) is not None
    }
    with parts.database.reading() as connection:
        placed = set_up(connection)
        alarms = filing.open_alarms(connection)
        explained = explanations.of(connection, [alarm.id for alarm in alarms])
        places = [each.id for each in placed.enclosure]
        mistings = _mistings(connection, places, now_ms)
    of_place = by_place(alarms)
    probes = {
        each.id: probe
        for each in placed.enclosure
        if (
            probe := ribbon_probe(
                each,
                ranges_at(each, parts.library, now_ms),
                latest.keys(),
                of_place.get(each.id, ()),
            )
        )
        is not None
    }
    keys = {place: SeriesKey(place, probe.id, Quantity.HUMIDITY) for place, probe in probes.items()}
    end_ms = window_end(now_ms)
    courses = many(parts.readings, keys.values(), end_ms - WINDOW_MS, end_ms, STEP_S)
    past = {
        place: Past(probes[place], courses[key], mistings.get(place, ()))
        for place, key in keys.items()
        if key in courses
    }
    return Known(
        now_ms=now_ms,
        setup=placed,
        library=parts.library,
        latest=latest,
        alarms=alarms,
        explanations={alarm: _explanation(body) for alarm, body in explained.items()},
        past=past,
        troubles=troubles(parts),
        units=units,
    )


def _explanation(body: str) -> Explanation:
    cause = json.loads(body)["cause"]
    return Explanation(cause["says"], cause["check_first"])


def _mistings(
    connection: sqlite3.Connection, places: list[str], now_ms: int
) -> dict[str, list[Misted]]:
    mistings: dict[str, list[Misted]] = {}
    for row in journal.since(connection, places, "misted", now_ms - WINDOW_MS):
        if isinstance(row.entry, Misted):
            mistings.setdefault(row.place, []).append(row.entry)
    return mistings


def troubles(parts: Parts) -> list[str]:
    """What ails dewkeep itself, for the keeper who would otherwise trust an old picture."""
    link, loop = parts.loop.link.state, parts.loop.state()
    if not loop.alive:
        return [words.NO_LOOP]
    troubles = [] if link.connected else [words.NO_BROKER.format(link.says)]
    if loop.store_says is not None:
        troubles.append(words.NO_STORE.format(loop.store_says))
    return troubles
