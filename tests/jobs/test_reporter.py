"""The morning report leaves once a day, whatever the clock, the machine or a restart does.

The clock changes of Lisbon in 2026 (29 March and 25 October, 01:00 UTC) follow from the IANA time
zone database, file europe.
"""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.jobs.nights import Nights
from monitor.jobs.reporter import MORNING, Reporter
from monitor.setup.models import Enclosure
from monitor.setup.reporting import ReportSettings
from monitor.species.library import load_library
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import outbox, setup
from monitor.times import MINUTE_MS, parse_rfc3339, rfc3339

LIBRARY = load_library()
CUBE = Enclosure.model_validate(
    {"id": "cube", "name": "Cube", "probe": [{"id": "canopy", "zone": "canopy"}]}
)


class Desk:
    """A reporter over a database, with a clock that is set by hand."""

    def __init__(self, database: Database, at: str, channels: tuple[str, ...] = ("phone",)) -> None:
        self.database = database
        self.now_ms = 0
        self.told = 0
        self.settings = ReportSettings.model_validate(
            {"at": at, "timezone": "Europe/Lisbon", "channels": channels}
        )
        self.restart()

    def restart(self) -> None:
        """Begin anew over the same database."""
        nights = Nights(self.database, SqliteReadings(self.database), LIBRARY)
        self.reporter = Reporter(
            self.database, nights, self.settings, lambda: self.now_ms, self._tell
        )

    def look(self, when: str) -> None:
        """Look at a time."""
        self.now_ms = parse_rfc3339(when)
        self.reporter.look()

    def look_every_minute(self, start: str, end: str) -> None:
        """Look as the clockwork does."""
        for at_ms in range(parse_rfc3339(start), parse_rfc3339(end), MINUTE_MS):
            self.now_ms = at_ms
            self.reporter.look()

    def sent(self) -> list[tuple[str, str, str]]:
        """Channel, key and time of everything that was put in line."""
        with self.database.reading() as connection:
            rows = connection.execute(
                "SELECT channel, idempotency_key, created_ms FROM outbox ORDER BY id"
            ).fetchall()
        return [(channel, key, rfc3339(at_ms)) for channel, key, at_ms in rows]

    def _tell(self) -> None:
        self.told += 1


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """One enclosure."""
    database = Database(tmp_path / "dewkeep.db")
    with database.transaction() as connection:
        setup.put(connection, CUBE, who="test", now_ms=0)
    yield database
    database.close()


def test_it_leaves_once_a_day_at_its_time(database: Database) -> None:
    """Not before, on each channel, and the courier is told."""
    desk = Desk(database, "07:30", ("phone", "mail"))

    desk.look_every_minute("2026-11-24T07:00:00Z", "2026-11-25T08:00:00Z")

    assert desk.sent() == [
        (channel, f"morning/2026-11-{day}", f"2026-11-{day}T07:30:00Z")
        for day in (24, 25)
        for channel in ("phone", "mail")
    ]
    assert desk.told == 2


@pytest.mark.parametrize(
    ("at", "start", "end", "expected"),
    [
        # Spring: 01:00 becomes 02:00. A time that is skipped counts as reached by the jump.
        ("01:30", "2026-03-28T00:00:00Z", "2026-03-30T23:00:00Z",
         ["2026-03-28T01:30:00Z", "2026-03-29T01:00:00Z", "2026-03-30T00:30:00Z"]),
        # Autumn: 01:00 to 02:00 comes twice. The first time counts.
        ("01:30", "2026-10-24T00:00:00Z", "2026-10-26T23:00:00Z",
         ["2026-10-24T00:30:00Z", "2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"]),
        ("07:30", "2026-10-24T00:00:00Z", "2026-10-26T23:00:00Z",
         ["2026-10-24T06:30:00Z", "2026-10-25T07:30:00Z", "2026-10-26T07:30:00Z"]),
        # Midnight is the first minute of its day.
        ("00:00", "2026-11-24T12:00:00Z", "2026-11-25T12:00:00Z",
         ["2026-11-24T12:00:00Z", "2026-11-25T00:00:00Z"]),
    ],
)  # fmt: skip
def test_once_a_day_also_when_the_clock_changes(
    database: Database, at: str, start: str, end: str, expected: list[str]
) -> None:
    """One report for each local day."""
    desk = Desk(database, at)

    desk.look_every_minute(start, end)

    assert [when for _, _, when in desk.sent()] == expected


def test_a_missed_report_is_caught_up_once(database: Database) -> None:
    """The machine slept over two mornings: on waking today's report leaves, and no other."""
    desk = Desk(database, "07:30")

    desk.look("2026-11-23T12:00:00Z")
    desk.look("2026-11-25T11:00:00Z")
    desk.look("2026-11-25T11:01:00Z")

    assert desk.sent()[1:] == [("phone", "morning/2026-11-25", "2026-11-25T11:00:00Z")]


def test_a_restart_neither_repeats_nor_loses_it(database: Database) -> None:
    """What was sent is known from the outbox, even after it was delivered."""
    desk = Desk(database, "07:30")
    desk.look("2026-11-25T07:30:00Z")
    with database.transaction() as connection:
        entry = outbox.first(connection, "phone")
        assert entry is not None
        outbox.delivered(connection, entry.id, desk.now_ms)

    desk.restart()
    desk.look("2026-11-25T09:00:00Z")
    desk.restart()
    desk.look("2026-11-26T06:00:00Z")
    desk.look("2026-11-26T08:00:00Z")

    assert [key for _, key, _ in desk.sent()] == ["morning/2026-11-25", "morning/2026-11-26"]
    assert desk.told == 2


def test_what_leaves_is_short_and_readable(database: Database) -> None:
    """A text, and for each enclosure what it needs and a sentence."""
    desk = Desk(database, "07:30")
    desk.look("2026-11-25T07:30:00Z")

    with database.reading() as connection:
        entry = outbox.first(connection, "phone")
    assert entry is not None
    assert entry.notice.kind == MORNING
    body = json.loads(entry.notice.body)
    assert body["event"] == "morning"
    assert (body["date"], body["at"]) == ("2026-11-25", "2026-11-25T07:30:00Z")
    assert body["says"] == "1 of 1 needs a hand."
    assert body["text"].startswith(
        "The night to 25 Nov. 1 of 1 needs a hand.\n\nNEEDS A HAND\nCube:"
    )
    assert body["enclosures"] == [
        {
            "enclosure": "cube",
            "name": "Cube",
            "needs": "hand",
            "says": "Probe canopy has sent nothing all night.",
        }
    ]


def test_an_empty_house_is_not_reported(database: Database) -> None:
    """Nobody wants to read every morning that nothing is set up."""
    with database.transaction() as connection:
        setup.delete(connection, "cube", who="test", now_ms=0)
    desk = Desk(database, "07:30")

    desk.look("2026-11-25T07:30:00Z")

    assert desk.sent() == []
    assert desk.told == 0
