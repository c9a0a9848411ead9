"""Tables of the readings, as ``CREATE`` statements.

A chapter and a rollup are both found by ``series << 24 | hours since the epoch``.
"""

READINGS = (
    # Derived quantities are series too, so that their rollups have a key; their readings are never
    # stored.
    """
    CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        place TEXT NOT NULL,
        probe TEXT NOT NULL,
        quantity TEXT NOT NULL,
        UNIQUE (place, probe, quantity)
    ) STRICT
    """,
    # Readings as they arrived (log.py), a batch to a row, until they are tidied into chapters.
    """
    CREATE TABLE log (
        id INTEGER PRIMARY KEY,
        batch BLOB NOT NULL
    ) STRICT
    """,
    # The readings of a series and hour, packed by codec.py.
    """
    CREATE TABLE chapter (
        key INTEGER PRIMARY KEY,
        readings BLOB NOT NULL
    ) STRICT
    """,
    # The same hour added up. Bad readings do not count; an hour with no other has no row.
    """
    CREATE TABLE rollup (
        key INTEGER PRIMARY KEY,
        count INTEGER NOT NULL,
        total REAL NOT NULL,
        low REAL NOT NULL,
        high REAL NOT NULL
    ) STRICT
    """,
)

SPOOL = (
    # With an engine that is a server: batches that are not yet safe there (remote/spool.py).
    """
    CREATE TABLE spool (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        batch BLOB NOT NULL
    ) STRICT
    """,
)
