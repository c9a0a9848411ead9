"""Tidying: readings from the log, or from an import, into chapters and their hourly rollups."""

import json
import sqlite3
from dataclasses import dataclass

import numpy as np

from monitor.air import derive
from monitor.errors import StoreError
from monitor.quality import FIRST_BAD
from monitor.store.buckets import Tally
from monitor.store.readings import Codes, Flags, Floats, Ints, Readings
from monitor.store.sqlite import codec
from monitor.store.sqlite.catalogue import HOUR_BITS, HOUR_MASK, Catalogue
from monitor.times import HOUR_MS

OFFSET_BITS = 22
"""Enough for the milliseconds of an hour."""

OFFSET_MASK = (1 << OFFSET_BITS) - 1


@dataclass(frozen=True, slots=True)
class Shelf:
    """Chapters taken from the file: their keys, ascending, and their readings as columns."""

    key: Ints
    count: Ints
    at_ms: Ints
    value: Floats
    reason: Codes

    @classmethod
    def of(cls, rows: list[tuple[int, bytes]]) -> "Shelf":
        """Unpack (key, readings) rows in the order of their keys.

        Raises:
            StoreError: a chapter is damaged; says which.
        """
        try:
            contents = codec.decode([blob for _, blob in rows])
        except StoreError:
            for row in rows:
                _examine(*row)
            raise
        key = np.fromiter((key for key, _ in rows), np.int64, len(rows))
        start_ms = np.repeat((key & HOUR_MASK) * HOUR_MS, contents.count)
        return cls(
            key, contents.count, start_ms + contents.offset_ms, contents.value, contents.reason
        )


def keys_of(series: Ints, at_ms: Ints) -> Ints:
    """The stored key of each reading."""
    key: Ints = (series << HOUR_BITS) | (at_ms // HOUR_MS)
    return key


def take(connection: sqlite3.Connection, keys: Ints) -> Shelf:
    """The chapters with these keys, as far as there are any."""
    return Shelf.of(
        connection.execute(
            "SELECT key, readings FROM chapter "
            "WHERE key IN (SELECT value FROM json_each(?)) ORDER BY key",
            (json.dumps(keys.tolist()),),
        ).fetchall()
    )


def shelved(connection: sqlite3.Connection, keys: Ints) -> Ints:
    """Those of the keys that have a chapter, ascending."""
    return _present(connection, "chapter", keys)


def rolled_up(connection: sqlite3.Connection, keys: Ints) -> Ints:
    """Those of the keys that have a rollup, ascending."""
    return _present(connection, "rollup", keys)


def absorb(connection: sqlite3.Connection, catalogue: Catalogue, arrived: Readings) -> None:
    """Add readings, in the order of their arrival, to the chapters and rollups of their hours.

    What is on the shelf wins over what arrives at the same time, and the earlier arrival over the
    later. An hour whose chapter was forgotten keeps its rollup: late readings for it are dropped.
    """
    arrived_key = keys_of(arrived.series, arrived.at_ms)
    touched = np.unique(arrived_key)
    series, hour = touched >> HOUR_BITS, touched & HOUR_MASK
    partner = catalogue.partners(series)
    wanted = np.union1d(touched, (partner << HOUR_BITS | hour)[partner > 0])
    shelf = take(connection, wanted)
    forgotten = rolled_up(connection, np.setdiff1d(touched, shelf.key))
    fresh = ~np.isin(arrived_key, forgotten)

    shelved_key = np.repeat(shelf.key, shelf.count)
    merged = _Merged.of(
        np.concatenate((shelved_key, arrived_key[fresh])),
        np.concatenate((shelf.at_ms, arrived.at_ms[fresh])),
        np.concatenate((shelf.value, arrived.value[fresh])),
        np.concatenate((shelf.reason, arrived.reason[fresh])),
    )
    before = np.zeros(len(merged.keys), np.int64)
    before[np.searchsorted(merged.keys, shelf.key)] = shelf.count
    grown = merged.count > before
    _write_chapters(connection, merged, grown)
    _write_rollups(connection, merged, grown)
    _write_derived_rollups(connection, catalogue, merged, grown)


@dataclass(frozen=True, slots=True)
class _Merged:
    """Readings sorted by key and time, each time once; ``group`` is the place of a key in ``keys``.

    ``moment`` joins group and time to one number that ascends.
    """

    keys: Ints
    count: Ints
    group: Ints
    moment: Ints
    value: Floats
    reason: Codes

    @classmethod
    def of(cls, key: Ints, at_ms: Ints, value: Floats, reason: Codes) -> "_Merged":
        keys, group = np.unique(key, return_inverse=True)
        moment = group << OFFSET_BITS | at_ms % HOUR_MS
        order = np.argsort(moment, kind="stable")
        moment = moment[order]
        first = np.flatnonzero(np.diff(moment, prepend=-1))
        order, moment = order[first], moment[first]
        group = moment >> OFFSET_BITS
        count = np.bincount(group, minlength=len(keys))
        return cls(keys, count, group, moment, value[order], reason[order])


def _write_chapters(connection: sqlite3.Connection, merged: _Merged, grown: Flags) -> None:
    chosen = grown[merged.group]
    blobs = codec.encode(
        codec.Chapters(
            merged.count[grown],
            merged.moment[chosen] & OFFSET_MASK,
            merged.value[chosen],
            merged.reason[chosen],
        )
    )
    connection.executemany(
        "INSERT OR REPLACE INTO chapter (key, readings) VALUES (?, ?)",
        zip(merged.keys[grown].tolist(), blobs, strict=True),
    )


def _write_rollups(connection: sqlite3.Connection, merged: _Merged, grown: Flags) -> None:
    chosen = grown[merged.group] & (merged.reason < FIRST_BAD)
    tally = Tally.of(merged.group[chosen], merged.value[chosen])
    _upsert(connection, merged.keys[tally.slot], tally)


def _write_derived_rollups(
    connection: sqlite3.Connection, catalogue: Catalogue, merged: _Merged, grown: Flags
) -> None:
    """Recompute the rollups that follow from a temperature or a humidity that has grown."""
    series, hour = merged.keys >> HOUR_BITS, merged.keys & HOUR_MASK
    # Of each key that is a temperature's, the place of the humidity's key.
    humidity = catalogue.humidity_of[series]
    partner, is_there = _places(merged.keys, humidity << HOUR_BITS | hour)
    is_pair = (humidity > 0) & is_there & (grown | grown[partner])

    # Of each temperature, the place of the humidity at the same time.
    t = np.flatnonzero(is_pair[merged.group])
    offset = merged.moment[t] & OFFSET_MASK
    h, is_there = _places(merged.moment, partner[merged.group[t]] << OFFSET_BITS | offset)
    both = is_there & (np.maximum(merged.reason[t], merged.reason[h]) < FIRST_BAD)
    t, h = t[both], h[both]

    group = merged.group[t]
    columns = derive(merged.value[t], merged.value[h])
    for ids, column in zip(catalogue.derived_of[series].T, columns, strict=True):
        known = np.isfinite(column)
        tally = Tally.of(group[known], column[known])
        _upsert(connection, (ids << HOUR_BITS | hour)[tally.slot], tally)


def _places(ascending: Ints, sought: Ints) -> tuple[Ints, Flags]:
    """Where each of the numbers sought stands, and whether it is there at all."""
    place = np.minimum(np.searchsorted(ascending, sought), len(ascending) - 1)
    return place, ascending[place] == sought


def _upsert(connection: sqlite3.Connection, keys: Ints, tally: Tally) -> None:
    rows = zip(
        keys.tolist(),
        tally.count.tolist(),
        tally.total.tolist(),
        tally.low.tolist(),
        tally.high.tolist(),
        strict=True,
    )
    connection.executemany(
        "INSERT OR REPLACE INTO rollup (key, count, total, low, high) VALUES (?, ?, ?, ?, ?)", rows
    )


def _examine(key: int, blob: bytes) -> None:
    try:
        codec.decode([blob])
    except StoreError as exc:
        raise StoreError(f"chapter {key}: {exc}; docs/storage.md tells what can be done") from exc


def _present(connection: sqlite3.Connection, table: str, keys: Ints) -> Ints:
    if not len(keys):
        return keys
    rows = connection.execute(
        f"SELECT key FROM {table} WHERE key IN (SELECT value FROM json_each(?)) ORDER BY key",  # noqa: S608
        (json.dumps(keys.tolist()),),
    ).fetchall()
    return np.fromiter((key for (key,) in rows), np.int64, len(rows))
