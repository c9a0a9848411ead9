"""The tables beside the readings."""

TABLES = (
    """
    CREATE TABLE alarm (
        id TEXT PRIMARY KEY,
        place TEXT NOT NULL,
        state TEXT NOT NULL,
        raised_at_ms INTEGER NOT NULL,
        closed INTEGER NOT NULL,
        body TEXT NOT NULL
    ) STRICT
    """,
    "CREATE INDEX alarm_by_time ON alarm (raised_at_ms, id)",
    "CREATE INDEX alarm_by_place ON alarm (place, raised_at_ms, id)",
    "CREATE INDEX alarm_open ON alarm (raised_at_ms, id) WHERE NOT closed",
    """
    CREATE TABLE alarm_point (
        key TEXT PRIMARY KEY,
        body TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE outbox (
        id INTEGER PRIMARY KEY,
        channel TEXT NOT NULL,
        idempotency_key TEXT NOT NULL,
        kind TEXT NOT NULL,
        body TEXT NOT NULL,
        created_ms INTEGER NOT NULL,
        next_attempt_ms INTEGER NOT NULL,
        attempts INTEGER NOT NULL DEFAULT 0,
        delivered_ms INTEGER,
        given_up_ms INTEGER,
        last_error TEXT,
        UNIQUE (channel, idempotency_key)
    ) STRICT
    """,
    """
    CREATE INDEX outbox_waiting ON outbox (channel, next_attempt_ms, id)
    WHERE delivered_ms IS NULL AND given_up_ms IS NULL
    """,
    "CREATE INDEX outbox_undelivered ON outbox (channel, id) WHERE delivered_ms IS NULL",
    """
    CREATE TABLE journal (
        id INTEGER PRIMARY KEY,
        place TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        kind TEXT NOT NULL,
        source TEXT NOT NULL,
        body TEXT NOT NULL,
        created_ms INTEGER NOT NULL
    ) STRICT
    """,
    "CREATE INDEX journal_by_time ON journal (place, at_ms, id)",
    # A keeper may note two feedings for one minute; a machine repeats itself.
    """
    CREATE UNIQUE INDEX journal_by_machine ON journal (place, kind, source, at_ms)
    WHERE source <> 'keeper'
    """,
    """
    CREATE TABLE place (
        id TEXT PRIMARY KEY,
        kind TEXT NOT NULL CHECK (kind IN ('room', 'enclosure')),
        room TEXT REFERENCES place (id),
        revision INTEGER NOT NULL,
        body TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX place_by_room ON place (room)",
    # AUTOINCREMENT: a revision number is never given twice.
    """
    CREATE TABLE place_history (
        revision INTEGER PRIMARY KEY AUTOINCREMENT,
        at_ms INTEGER NOT NULL,
        who TEXT NOT NULL,
        id TEXT NOT NULL,
        before TEXT,
        after TEXT
    ) STRICT
    """,
    "CREATE INDEX place_history_by_id ON place_history (id, revision)",
    """
    CREATE TABLE token (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL,
        scope TEXT NOT NULL,
        hash BLOB NOT NULL,
        created_ms INTEGER NOT NULL,
        last_used_ms INTEGER,
        revoked_ms INTEGER
    ) STRICT
    """,
)

EXPLANATIONS = (
    """
    CREATE TABLE explanation (
        alarm TEXT PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        body TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
)

SUPPRESSIONS = (
    """
    CREATE TABLE suppression (
        key TEXT PRIMARY KEY,
        place TEXT NOT NULL,
        body TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
)

DELIVERY = (
    # The part of a key before its first slash: the alarm that the notice is about.
    """
    ALTER TABLE outbox ADD COLUMN about TEXT
    AS (substr(idempotency_key, 1, instr(idempotency_key, '/') - 1))
    """,
    "CREATE INDEX outbox_by_alarm ON outbox (about)",
    "CREATE INDEX outbox_by_time ON outbox (created_ms)",
    """
    CREATE TABLE meta (
        key TEXT PRIMARY KEY,
        value BLOB NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE spent_link (
        nonce TEXT PRIMARY KEY,
        expires_ms INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
)

CALLED_OFF = (
    "ALTER TABLE outbox ADD COLUMN called_off_ms INTEGER",
    """
    ALTER TABLE outbox ADD COLUMN waits INTEGER
    AS (delivered_ms IS NULL AND given_up_ms IS NULL AND called_off_ms IS NULL)
    """,
    "DROP INDEX outbox_waiting",
    "CREATE INDEX outbox_waiting ON outbox (channel, next_attempt_ms, id) WHERE waits",
)

CALIBRATION = (
    """
    CREATE TABLE calibration (
        id INTEGER PRIMARY KEY,
        place TEXT NOT NULL,
        probe TEXT NOT NULL,
        state TEXT NOT NULL CHECK (state IN ('running', 'finished', 'abandoned')),
        started_ms INTEGER NOT NULL,
        ended_ms INTEGER,
        applied_ms INTEGER,
        run TEXT NOT NULL,
        certificate TEXT
    ) STRICT
    """,
    "CREATE INDEX calibration_by_probe ON calibration (place, probe, id)",
    # A probe can be in one box only.
    """
    CREATE UNIQUE INDEX calibration_running ON calibration (place, probe)
    WHERE state = 'running'
    """,
)

PHOTOS = (
    """
    CREATE TABLE photo (
        id INTEGER PRIMARY KEY,
        entry INTEGER NOT NULL REFERENCES journal (id) ON DELETE CASCADE,
        hash TEXT NOT NULL,
        width INTEGER NOT NULL,
        height INTEGER NOT NULL,
        bytes INTEGER NOT NULL,
        created_ms INTEGER NOT NULL,
        UNIQUE (entry, hash)
    ) STRICT
    """,
    "CREATE INDEX photo_by_hash ON photo (hash)",
)

TRUST = (
    # What the checks of a place's probes found last.
    """
    CREATE TABLE trust (
        place TEXT PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        body TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
)

VERDICTS = (
    """
    CREATE TABLE verdict (
        place TEXT NOT NULL,
        since_ms INTEGER NOT NULL,
        at_ms INTEGER NOT NULL,
        verdict TEXT NOT NULL,
        built_on TEXT,
        says TEXT,
        PRIMARY KEY (place, since_ms)
    ) STRICT, WITHOUT ROWID
    """,
)
