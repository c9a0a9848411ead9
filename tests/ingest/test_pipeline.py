"""The way of a reading, with a real database and no broker."""

import asyncio
import json
from collections.abc import Callable

import pytest

from monitor.alarms.model import BROKER, Because, State
from monitor.alarms.records import load_alarm
from monitor.errors import Conflict, NotFound, StoreUnavailable
from monitor.ingest.live import Event
from monitor.quantities import Quantity
from monitor.setup.models import Enclosure, Probe, Zone
from monitor.store.readings import SeriesKey
from monitor.store.rows import AlarmRow
from monitor.store.sqlite.state import alarms, journal, outbox, setup
from monitor.times import DAY_MS, parse_rfc3339
from tests.support.daemon import CORK_CUBE
from tests.support.publisher import senml
from tests.support.rig import NOON_MS, Rig

CHANNEL = {"name": "phone", "kind": "webhook", "url": "https://phone.invalid/hook"}


def kept(rig: Rig, quantity: Quantity = Quantity.TEMPERATURE) -> list[float]:
    """All values of a quantity of the canopy."""
    key = SeriesKey("cork-cube", "canopy", quantity)
    values: list[float] = rig.readings.track(key, 0, NOON_MS + 365 * DAY_MS).value.tolist()
    return values


def open_alarms(rig: Rig) -> list[AlarmRow]:
    """What the database says."""
    with rig.database.reading() as connection:
        return alarms.still_open(connection)


def of_climate(rig: Rig) -> list[AlarmRow]:
    """Open alarms but those of probes that have fallen silent meanwhile."""
    return [row for row in open_alarms(rig) if ".silent." not in row.id]


def test_a_crash_is_kept_raised_and_told_together(new_rig: Callable[..., Rig]) -> None:
    """Readings, alarm and notice are there after one batch; the courier is woken once."""
    rig = new_rig(settings={"channel": [CHANNEL]})
    rig.course(23.0, 45.0)

    with rig.database.reading() as connection:
        (stats,) = outbox.stats(connection)
    (alarm,) = open_alarms(rig)
    assert len(kept(rig)) == 30
    assert alarm.state == State.UNACKNOWLEDGED
    assert (stats.waiting, rig.told) == (1, 1)


def test_what_could_not_be_kept_changes_nothing(rig: Rig) -> None:
    """Taken again as it is, a batch gives the same; its rejects are counted once."""
    rig.course(23.0, 70.0, minutes=3)
    crash = [senml(NOON_MS / 1000 + 60 * n, 23.0, 45.0) for n in range(1, 31)]
    rig.now_ms += 30 * 60_000
    rig.readings.down = True
    for _ in range(3):
        with pytest.raises(StoreUnavailable, match="the disk is full"):
            rig.take(*crash, b"{broken")
    before = (len(kept(rig)), open_alarms(rig), rig.rejects.counts())
    rig.readings.down = False
    rig.take(*crash, b"{broken")

    assert before == (3, [], {})
    assert len(kept(rig)) == 33
    assert len(open_alarms(rig)) == 1
    assert rig.rejects.counts() == {"malformed": 1}


def test_readings_that_come_again_are_counted_and_left_out(rig: Rig) -> None:
    """A redelivery, in the same batch or a later one, changes no series."""
    reading = senml(NOON_MS / 1000, 23.0, 70.0)
    rig.take(reading, reading)
    rig.take(reading)

    assert kept(rig) == [23.0]
    assert rig.pipeline.repeated == 4


def test_a_restart_goes_on_where_it_was(rig: Rig) -> None:
    """Alarm and memory come back from the database; the crash is not raised a second time."""
    rig.course(23.0, 45.0)
    rig.pipeline = rig.new_pipeline()
    rig.now_ms += 60 * 60_000
    rig.course(23.0, 44.0)

    assert len(open_alarms(rig)) == 1


def test_a_new_quantity_is_taken_in_on_the_fly(rig: Rig) -> None:
    """A probe begins to send what it never sent: stored from the first reading on, by its rules."""
    pack = [{"bt": NOON_MS / 1000, "n": "illuminance", "u": "lx", "v": 1200}]
    rig.take(json.dumps(pack).encode())
    rig.take(json.dumps([pack[0] | {"bt": NOON_MS / 1000 + 60, "v": -4}]).encode())

    track = rig.readings.track(
        SeriesKey("cork-cube", "canopy", Quantity.ILLUMINANCE), 0, NOON_MS + DAY_MS
    )
    assert track.value.tolist() == [1200.0, -4.0]
    assert track.reason.tolist() == [0, 16]


def test_a_set_up_changed_by_another_process_is_taken_over(rig: Rig) -> None:
    """At the next tick: a new probe is listened to; an alarm of a range that is gone is closed."""
    rig.course(23.0, 45.0)
    rig.apply(
        rig.settings.store.path.with_name("changed.toml"),
        CORK_CUBE.split("[enclosure.range.canopy]")[0]
        + '[[enclosure.probe]]\nid = "floor"\nzone = "floor"\n',
    )
    floor = "dewkeep/cork-cube/floor"
    rig.take(senml(rig.now_ms / 1000, 21.0, 88.0), topic=floor)
    rig.pass_by(minutes=1 / 60)
    rig.take(senml(rig.now_ms / 1000, 21.0, 89.0), topic=floor)

    stored = rig.readings.track(
        SeriesKey("cork-cube", "floor", Quantity.HUMIDITY), 0, NOON_MS + DAY_MS
    )
    assert rig.rejects.counts() == {"unknown": 1}
    assert stored.value.tolist() == [89.0]
    assert open_alarms(rig) == []


def test_ranges_follow_the_season_at_midnight(new_rig: Callable[..., Rig]) -> None:
    """In its winter rest a plant wants it cool: what was fine in October is too warm now."""
    rig = new_rig(
        enclosures="""
            [[enclosure]]
            id = "cork-cube"
            name = "Cork cube"
            timezone = "Europe/Lisbon"
            lights_on = "21:00"
            lights_off = "09:00"
            probe = [{ id = "canopy", zone = "canopy", silent_after_s = 86400 }]
            inhabitant = [{ species = "haworthia" }]
        """,
        now_ms=parse_rfc3339("2026-10-31T23:58:00Z"),
    )
    rig.course(20.0, 40.0)
    rig.pass_by(minutes=1)
    rig.course(20.0, 40.0, minutes=1)
    in_october = open_alarms(rig)
    rig.pass_by(minutes=1)
    rig.now_ms += 25 * 60_000
    rig.course(20.0, 40.0, minutes=25)

    (alarm,) = open_alarms(rig)
    assert in_october == []
    assert alarm.id.startswith("cork-cube.canopy.temperature.high")


def test_silence_is_told_by_time_alone(rig: Rig) -> None:
    """No reading, no batch: the tick raises it."""
    rig.pass_by(minutes=4)
    before = len(open_alarms(rig))
    rig.pass_by(minutes=2)

    assert before == 0
    assert {alarm.id.split("@")[0].split(".")[1] for alarm in open_alarms(rig)} == {"air", "canopy"}


def test_a_broker_that_is_down_is_one_alarm(rig: Rig) -> None:
    """No probe is called silent meanwhile, nor just after; it is over with the connection."""
    rig.course(23.0, 70.0)
    for _ in range(20):
        rig.now_ms += 60_000
        rig.pipeline.tick(rig.now_ms, broker_connected=False)
    (alarm,) = open_alarms(rig)
    rig.pass_by(1)
    rig.pass_by(3)

    assert alarm.id == f"{BROKER}.{NOON_MS + 6 * 60_000}"
    assert [row.state for row in open_alarms(rig)] == [State.RETURNED]


def test_a_mister_excuses_what_it_does(rig: Rig) -> None:
    """Too humid just after a misting is kept quiet; that it is too humid hours later is told."""
    rig.course(23.0, 70.0)
    rig.take(json.dumps([{"n": "mister", "t": NOON_MS / 1000, "vb": True}]).encode())
    rig.now_ms += 31 * 60_000
    rig.course(23.0, 97.0)
    (held,) = of_climate(rig)
    rig.pass_by(61)
    (calling,) = of_climate(rig)

    assert (held.state, calling.state) == (State.SUPPRESSED, State.UNACKNOWLEDGED)
    assert held.id == calling.id


def test_what_keeps_alarms_quiet_outlives_a_restart(rig: Rig) -> None:
    """It is kept with the alarms, and a new desk goes on with it until its end."""
    rig.course(23.0, 45.0)
    until_ms = rig.now_ms + 3_600_000
    rig.pipeline.suppress("cork-cube", Because.MAINTENANCE, until_ms, "ada", "moss", rig.now_ms)
    rig.pipeline = rig.new_pipeline()
    rig.pass_by(30)
    (during,) = of_climate(rig)
    rig.pass_by(31)
    (after,) = of_climate(rig)

    assert (during.state, after.state) == (State.SUPPRESSED, State.UNACKNOWLEDGED)


def test_a_point_that_chatters_is_known_after_a_restart(new_rig: Callable[..., Rig]) -> None:
    """The third crash within two hours is marked, whoever saw the first two."""
    rig = new_rig(settings={"alarms": {"on_delay_s": 300, "off_delay_s": 60}})
    for _ in range(3):
        rig.course(23.0, 45.0, minutes=10)
        rig.now_ms += 15 * 60_000
        rig.course(23.0, 75.0, minutes=5)
        rig.now_ms += 15 * 60_000
        rig.pipeline = rig.new_pipeline()

    with rig.database.reading() as connection:
        found = [load_alarm(row.body) for row in alarms.page(connection)]
    assert [alarm.chattering for alarm in reversed(found)] == [False, False, True]


def test_a_keeper_acts_on_an_alarm(rig: Rig) -> None:
    """Acknowledged, shelved, taken back; each is in the database when the call returns."""
    rig.course(23.0, 45.0)
    (alarm,) = open_alarms(rig)
    now = rig.now_ms

    rig.pipeline.acknowledge(alarm.id, "Mara", now)
    assert open_alarms(rig)[0].state == State.ACKNOWLEDGED
    rig.pipeline.shelve(alarm.id, now + 60_000, "Mara", now)
    assert open_alarms(rig)[0].state == State.SHELVED
    rig.pipeline.unshelve(alarm.id, "Mara", now)
    assert open_alarms(rig)[0].state == State.UNACKNOWLEDGED
    rig.pipeline.shelve(alarm.id, now + 60_000, "Mara", now)
    rig.pass_by(minutes=1)
    assert open_alarms(rig)[0].state == State.UNACKNOWLEDGED
    with pytest.raises(NotFound, match="no open alarm has the id 'x'"):
        rig.pipeline.acknowledge("x", "Mara", now)


def test_a_place_is_put_and_taken_away(rig: Rig) -> None:
    """In force at once, refused when someone else was quicker; old readings stay."""
    rig.course(23.0, 70.0, minutes=1)
    place = Enclosure(id="cork-cube", name="Cork", probe=(Probe(id="floor", zone=Zone.FLOOR),))
    revision = rig.pipeline.put_place(place, "Mara", None, rig.now_ms)
    rig.course(21.0, 80.0, minutes=1, topic="dewkeep/cork-cube/floor")
    with pytest.raises(Conflict, match="was changed or removed since revision 1"):
        rig.pipeline.put_place(place, "Ines", 1, rig.now_ms)
    rig.pipeline.delete_place("cork-cube", "Mara", revision, rig.now_ms)
    rig.course(21.0, 80.0, minutes=1, topic="dewkeep/cork-cube/floor")

    assert rig.rejects.counts() == {"unknown": 1}
    assert kept(rig) == [23.0]
    with rig.database.reading() as connection:
        assert setup.everything(connection).enclosure == ()


def test_a_mister_writes_the_journal(rig: Rig) -> None:
    """On and off become one entry; other switches are none of dewkeep's business."""
    for seconds, on in ((-60, True), (-48, False)):
        at = NOON_MS / 1000 + seconds
        rig.take(json.dumps([{"n": "mister", "t": at, "vb": on}]).encode())

    with rig.database.reading() as connection:
        (entry,) = journal.page(connection, "cork-cube")
    assert entry.entry.model_dump(include={"at_ms", "kind", "seconds"}) == {
        "at_ms": NOON_MS - 60_000,
        "kind": "misted",
        "seconds": 12.0,
    }


def test_listeners_are_shown_each_change(rig: Rig) -> None:
    """Alarms as they change (also by a changed set-up), climate of changed probes once a tick."""

    async def listen() -> list[Event]:
        subscription = rig.hub.subscribe()
        rig.course(23.0, 45.0)
        rig.pipeline.tick(rig.now_ms, broker_connected=True)
        rig.pipeline.tick(rig.now_ms, broker_connected=True)
        place = Enclosure(id="cork-cube", name="Cork", room="back-room")
        rig.pipeline.put_place(place, "Mara", None, rig.now_ms)
        rig.hub.end()
        events = []
        while (event := await subscription.next()) is not None:
            events.append(event)
        return events

    raised, climate, withdrawn = asyncio.run(listen())
    assert (raised.name, raised.data["state"]) == ("alarm", "unacknowledged")
    assert climate.name == "climate"
    assert (climate.data["enclosure"], climate.data["probe"]) == ("cork-cube", "canopy")
    assert climate.data["humidity"] == {"value": 45.0, "unit": "%RH", "quality": "good"}
    assert (withdrawn.name, withdrawn.data["state"]) == ("alarm", "normal")


def test_old_readings_are_let_go(new_rig: Callable[..., Rig]) -> None:
    """Past their keeping time single readings go; newer ones stay."""
    rig = new_rig(settings={"store": {"raw_days": 30}})
    rig.course(23.0, 70.0, minutes=1)
    rig.now_ms += 40 * DAY_MS
    rig.course(24.0, 70.0, minutes=1)
    rig.pipeline.forget(rig.now_ms)

    assert kept(rig) == [24.0]


def test_a_missing_profile_does_not_end_the_watch(
    rig: Rig, caplog: pytest.LogCaptureFixture
) -> None:
    """An inhabitant that no profile is left of: the keeper's own ranges still hold."""
    strange = Enclosure.model_validate(
        {
            "id": "cork-cube",
            "name": "Cork cube",
            "probe": [{"id": "canopy", "zone": "canopy"}],
            "inhabitant": [{"species": "draco-invented"}],
            "range": {"canopy": {"day": {"humidity": [60, 80]}}},
        }
    )
    with rig.database.transaction() as connection:
        setup.put(connection, strange, who="test", now_ms=rig.now_ms)
    rig.pipeline = rig.new_pipeline()
    rig.course(23.0, 45.0)

    assert len(open_alarms(rig)) == 1
    assert "cork-cube is watched by its own ranges only: no species profile 'draco-" in caplog.text
