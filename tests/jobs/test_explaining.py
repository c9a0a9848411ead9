"""Why an alarm was raised and when the next will be: from the store to what leaves."""

import json
from collections.abc import Iterator

import pytest

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.records import dump_alarm
from monitor.ingest.filing import alarm_row
from monitor.jobs.explainer import Explainer
from monitor.jobs.foresight import Foresight
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Room, Zone
from monitor.simulation import Simulator
from monitor.simulation.demo_room import SEED, back_room
from monitor.species.library import load_library
from monitor.store.readings import Readings, SeriesKey
from monitor.store.rows import Notice
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.readings import SqliteReadings
from monitor.store.sqlite.state import alarms, explanations, outbox, setup
from monitor.times import HOUR_MS
from tests.support.waiting import eventually

END_MS = 1_795_600_000_000
"""25 November 2026, 09:46 UTC; the room's mister failed at 00:31 that night."""
FAILED = back_room(END_MS, days=9)
NOW_MS = FAILED.failed_ms + 6 * HOUR_MS

ALARM = Alarm(
    id="cork-cube.canopy.humidity.low.1",
    point=PointKey("cork-cube", "canopy", Quantity.HUMIDITY, Condition.LOW),
    zone=Zone.CANOPY,
    priority=Priority.WARNING,
    state=State.UNACKNOWLEDGED,
    since_ms=NOW_MS - HOUR_MS,
    raised_at_ms=NOW_MS - HOUR_MS // 2,
    value=66.0,
    limit=70.0,
    extreme=66.0,
)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, SqliteReadings]]:
    """Nine simulated days of the back room, up to six hours after its mister failed."""
    database = Database(tmp_path_factory.mktemp("store") / "dewkeep.db")
    readings = SqliteReadings(database)
    record = Simulator(FAILED.scenario, FAILED.start_ms, 60.0, SEED).advance(NOW_MS)
    for (owner, probe), told in record.readings.items():
        columns = (told.temperature, told.humidity)
        keys = [SeriesKey(owner, probe, q) for q in (Quantity.TEMPERATURE, Quantity.HUMIDITY)]
        for series, column in zip(readings.series_ids(keys), columns, strict=True):
            at_ms = told.at_ms
            readings.backfill(
                Readings(at_ms * 0 + series, at_ms, column, (at_ms * 0).astype("uint8"))
            )
    furniture = Enclosure.model_validate(
        {
            "id": "cork-cube",
            "name": "Cork cube",
            "room": "back-room",
            "timezone": "Europe/Lisbon",
            "probe": [{"id": id_, "zone": id_} for id_ in ("canopy", "floor", "substrate")],
            "range": {"canopy": {when: {"humidity": [70, 99]} for when in ("day", "night")}},
        }
    )
    room = Room.model_validate({"id": "back-room", "name": "Back room", "probe": [{"id": "air"}]})
    with database.transaction() as connection:
        for place in (room, furniture):
            setup.put(connection, place, who="test", now_ms=0)
    yield database, readings
    database.close()


def test_a_held_notice_leaves_with_its_cause(store: tuple[Database, SqliteReadings]) -> None:
    """The simulated mister failed (ground truth: drying); the notice says so and leaves."""
    database, readings = store
    woken: list[bool] = []
    explainer = Explainer(database, readings, lambda: NOW_MS, lambda: woken.append(True))
    notice = Notice("phone", f"{ALARM.id}/raised", "raised", json.dumps({"id": ALARM.id}))
    with database.transaction() as connection:
        alarms.put(connection, [alarm_row(ALARM)])
        outbox.add(connection, [notice], NOW_MS, hold_ms=60_000)

    explainer.start()
    explainer.look([ALARM])
    eventually(lambda: woken, "explained")
    explainer.stop()

    with database.reading() as connection:
        waiting = outbox.first(connection, "phone")
        kept = explanations.of(connection, [ALARM.id, "another"])
    assert waiting is not None
    assert waiting.next_attempt_ms == NOW_MS
    told = json.loads(waiting.notice.body)
    assert told["id"] == ALARM.id
    assert told["cause"]["kind"] == "drying"
    assert told["cause"]["could_be"] == ["drying"]
    assert told["cause"]["water_share"] > 0.65
    assert json.loads(kept[ALARM.id])["cause"] == told["cause"]
    assert list(kept) == [ALARM.id]


def test_a_notice_that_was_tried_is_left_as_it_is(
    store: tuple[Database, SqliteReadings],
) -> None:
    """What a receiver may have seen already is not rewritten."""
    database, _ = store
    with database.transaction() as connection:
        outbox.add(connection, [Notice("other", "x/raised", "raised", "{}")], 0)
        entry = outbox.first(connection, "other")
        assert entry is not None
        outbox.postponed(connection, entry.id, "no answer", 5)

        assert outbox.complete(connection, "x", {"cause": None}, 9) == 0

    with database.reading() as connection:
        after = outbox.first(connection, "other")
    assert after is not None
    assert (after.notice.body, after.next_attempt_ms) == ("{}", 5)


def test_alarms_left_unexplained_are_found(store: tuple[Database, SqliteReadings]) -> None:
    """After a restart an alarm that stands is explained although nobody asks again."""
    database, readings = store
    other = "cork-cube.canopy.humidity.low.2"
    row = alarm_row(ALARM)._replace(id=other)
    row = row._replace(body=dump_alarm(ALARM).replace(ALARM.id, other))
    with database.transaction() as connection:
        alarms.put(connection, [row])
    explainer = Explainer(database, readings, lambda: NOW_MS, lambda: None)

    explainer.start()

    def explained() -> bool:
        with database.reading() as connection:
            return other in explanations.of(connection, [other])

    eventually(explained, "explained by itself")
    explainer.stop()


def test_a_forecast_speaks_of_the_sides_that_have_a_limit(
    store: tuple[Database, SqliteReadings],
) -> None:
    """Below its limit now: the low side says so; a probe without a range says nothing."""
    database, readings = store
    with database.reading() as connection:
        enclosure = setup.get(connection, "cork-cube").place
    assert isinstance(enclosure, Enclosure)
    foresight = Foresight(readings, load_library(), lambda: NOW_MS)
    canopy, floor, _ = enclosure.probe

    told = foresight.of(enclosure, canopy)

    assert set(told) == {"low", "high"}
    assert told["low"] == {
        "not_before": None,
        "likely": None,
        "not_after": None,
        "says": "beyond the limit now",
    }
    assert foresight.of(enclosure, floor) == {}
    assert foresight.of(enclosure, canopy) is told, "worked out once in some minutes"
