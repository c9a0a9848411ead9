"""The desk's papers in a real database."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.alarms import states
from monitor.alarms.desk import Changes
from monitor.alarms.detection import Phase, PointMemory
from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.watch import Findings
from monitor.errors import StoreError
from monitor.ingest import filing
from monitor.quantities import Quantity
from monitor.setup.models import Zone
from monitor.store.rows import Notice
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms, outbox

T = 1_796_000_000_000
DRY = PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW)
SILENT = PointKey("cork-cube", "canopy", None, Condition.SILENT)
STANDING = PointMemory(Phase.STANDING, T, 38.2)
HEARD = PointMemory(Phase.PENDING, T, None)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """An empty database with the schema of this version."""
    database = Database(tmp_path / "dewkeep.db")
    yield database
    database.close()


def alarm(point: PointKey = DRY) -> Alarm:
    """An alarm that was just raised."""
    has_value = point.quantity is not None
    return states.raised(
        Alarm(
            id=f"{point}.{T}",
            point=point,
            zone=Zone.CANOPY,
            priority=Priority.WARNING,
            state=State.NORMAL,
            since_ms=T - 1,
            raised_at_ms=T,
            value=38.2 if has_value else None,
            limit=60.0 if has_value else None,
            extreme=38.2 if has_value else None,
        ),
        T,
    ).alarm


def changes(
    *changed: Alarm, points: list[tuple[PointKey, PointMemory | None]] | None = None
) -> Changes:
    """What a step of the desk changed."""
    return Changes(points or [], list(changed), [], Findings(), 0)


def test_a_desk_finds_its_papers_as_it_left_them(database: Database) -> None:
    """Open alarms and memories survive a stop exactly; forgotten points stay forgotten."""
    dry, silent = alarm(), alarm(SILENT)
    with database.transaction() as connection:
        filing.file(connection, changes(dry, silent, points=[(DRY, STANDING), (SILENT, HEARD)]))
    with database.transaction() as connection:
        filing.file(connection, changes(points=[(SILENT, None)]))

    with database.reading() as connection:
        assert filing.open_alarms(connection) == [silent, dry]
        assert filing.memories(connection) == {DRY: STANDING}


def test_an_alarm_that_is_over_is_kept_but_not_open(database: Database) -> None:
    """It stays to be looked up; no desk takes it up again."""
    acknowledged = states.acknowledged(alarm(), "keeper", T + 1).alarm
    over = states.returned(acknowledged, T + 2).alarm
    with database.transaction() as connection:
        filing.file(connection, changes(alarm()))
        filing.file(connection, changes(over))

    with database.reading() as connection:
        assert filing.open_alarms(connection) == []
        row = alarms.get(connection, over.id)
    assert (row.state, row.place, row.closed) == ("normal", "cork-cube", True)
    assert filing.alarm_of(row) == over


def test_an_alarm_and_its_notification_are_kept_together_or_not_at_all(database: Database) -> None:
    """A step that fails at its last part leaves neither an alarm nor a word of it."""

    def half_a_step() -> None:
        with database.transaction() as connection:
            outbox.add(connection, [Notice("phone", "k", "raised", "{}")], T)
            filing.file(connection, changes(alarm(), points=[(DRY, STANDING)]))
            connection.execute("INSERT INTO outbox (channel) VALUES ('no key')")

    with pytest.raises(StoreError, match="NOT NULL"):
        half_a_step()

    with database.reading() as connection:
        assert filing.open_alarms(connection) == []
        assert filing.memories(connection) == {}
        assert outbox.first(connection, "phone") is None
