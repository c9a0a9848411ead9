"""Which series there are, and which belong together: ids, pairs, and the derived of each pair."""

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from monitor.quantities import MEASURED, Quantity
from monitor.store.derived import DERIVED, inputs
from monitor.store.readings import Ints, SeriesKey

HOUR_BITS = 24
"""A stored key is ``series << HOUR_BITS | hour``: two thousand years of hours for each series."""

HOUR_MASK = (1 << HOUR_BITS) - 1

MAX_SERIES = 2**31 - 1


@dataclass(frozen=True, slots=True)
class Catalogue:
    """All series at one moment.

    ``humidity_of``, ``temperature_of`` (by series id) give the other one of a pair, else 0;
    ``derived_of`` (by id of the temperature) the ids of the derived series, in the order of
    ``DERIVED``.
    """

    ids: Mapping[SeriesKey, int]
    measured: Mapping[SeriesKey, int]
    humidity_of: Ints
    temperature_of: Ints
    derived_of: Ints

    @property
    def size(self) -> int:
        """One more than the highest id."""
        return len(self.humidity_of)

    def sources(self, key: SeriesKey) -> tuple[int, ...]:
        """The ids of the stored series that a series is read from; empty if there is none."""
        if key not in self.ids:
            return ()
        if key.quantity in MEASURED:
            return (self.ids[key],)
        return tuple(self.ids[source] for source in inputs(key))

    def partners(self, series: Ints) -> Ints:
        """The other one of the pair of each series, 0 where it has none."""
        return self.humidity_of[series] + self.temperature_of[series]


def load(connection: sqlite3.Connection) -> Catalogue:
    """Read the series table."""
    rows = connection.execute("SELECT place, probe, quantity, id FROM series").fetchall()
    ids = {
        SeriesKey(place, probe, Quantity(quantity)): series
        for place, probe, quantity, series in rows
    }
    size = max(ids.values(), default=0) + 1
    humidity_of = np.zeros(size, np.int64)
    temperature_of = np.zeros(size, np.int64)
    derived_of = np.zeros((size, len(DERIVED)), np.int64)
    for key in ids:
        if key.quantity == DERIVED[0]:
            temperature, humidity = (ids[source] for source in inputs(key))
            humidity_of[temperature] = humidity
            temperature_of[humidity] = temperature
            derived_of[temperature] = [ids[key._replace(quantity=each)] for each in DERIVED]
    measured = {key: series for key, series in ids.items() if key.quantity in MEASURED}
    return Catalogue(
        MappingProxyType(ids), MappingProxyType(measured), humidity_of, temperature_of, derived_of
    )


def add(connection: sqlite3.Connection, keys: Sequence[SeriesKey]) -> list[int]:
    """Ids of measured series, made where they are new, with the derived ones that they allow."""
    _insert(connection, keys)
    for key in dict.fromkeys(key._replace(quantity=DERIVED[0]) for key in keys):
        if all(_find(connection, source) for source in inputs(key)):
            _insert(connection, [key._replace(quantity=quantity) for quantity in DERIVED])
    return [_find(connection, key) for key in keys]


def _insert(connection: sqlite3.Connection, keys: Iterable[SeriesKey]) -> None:
    connection.executemany(
        "INSERT OR IGNORE INTO series (place, probe, quantity) VALUES (?, ?, ?)", keys
    )


def _find(connection: sqlite3.Connection, key: SeriesKey) -> int:
    row = connection.execute(
        "SELECT id FROM series WHERE place = ? AND probe = ? AND quantity = ?", key
    ).fetchone()
    return row[0] if row else 0
