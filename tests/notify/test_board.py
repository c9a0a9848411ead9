"""The standing alarms at the broker, against a real one."""

import json
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from monitor.alarms import states
from monitor.alarms.model import Alarm
from monitor.alarms.records import dump_alarm
from monitor.alarms.wording import wire
from monitor.notify.board import AlarmBoard
from monitor.setup.models import Enclosure
from monitor.setup.settings import BrokerSettings
from monitor.store.rows import AlarmRow
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms, explanations, setup
from tests.alarms.telling import LISBON, T, dry
from tests.support.listener import Listener
from tests.support.servers import Mosquitto
from tests.support.waiting import eventually

Start = Callable[[], AlarmBoard]


@pytest.fixture
def start(database: Database, mosquitto: Mosquitto) -> Iterator[Start]:
    """Starts boards on a clock that stands still; they are stopped after the test."""
    enclosure = Enclosure(id="cork-cube", name="Cork cube", timezone="Europe/Lisbon")
    with database.transaction() as connection:
        setup.put(connection, enclosure, who="test", now_ms=0)
    started: list[AlarmBoard] = []

    def begin() -> AlarmBoard:
        broker = BrokerSettings(port=mosquitto.port)
        board = AlarmBoard(broker, database, clock=lambda: T, look_every_s=0.05)
        board.start()
        started.append(board)
        return board

    yield begin
    for board in started:
        board.stop()


def keep(database: Database, *kept: Alarm) -> None:
    """Commit alarms as they are."""
    rows = [
        AlarmRow(
            each.id, each.point.place, each.state, each.raised_at_ms, each.over, dump_alarm(each)
        )
        for each in kept
    ]
    with database.transaction() as connection:
        alarms.put(connection, rows)


def retained(mosquitto: Mosquitto) -> dict[str, bytes]:
    """What the broker holds, by topic, for someone who comes now."""
    with Listener(mosquitto.port, "dewkeep-alarms/#") as listener:
        # Retained messages come before what is published after the subscription.
        mark = "dewkeep-alarms/mark"
        listener.publish(mark)
        eventually(lambda: any(each.topic == mark for each in listener.received), "the mark")
    return {each.topic: bytes(each.payload) for each in listener.received if each.retain}


def topic(alarm: Alarm) -> str:
    """Where an alarm stands."""
    return f"dewkeep-alarms/cork-cube/{alarm.id}"


def test_a_standing_alarm_is_there_for_who_comes_later(
    database: Database, mosquitto: Mosquitto, start: Start
) -> None:
    """As the API gives it, with the name of its place, and as it is after each change."""
    alarm = states.raised(dry(), T).alarm
    keep(database, alarm)
    start()
    eventually(lambda: topic(alarm) in retained(mosquitto), "the alarm")

    document = json.loads(retained(mosquitto)[topic(alarm)])
    assert document == {"enclosure_name": "Cork cube", **wire(alarm, LISBON, T), "cause": None}

    keep(database, states.acknowledged(alarm, "ada", T).alarm)
    eventually(
        lambda: json.loads(retained(mosquitto)[topic(alarm)])["state"] == "acknowledged",
        "the acknowledgement",
    )


def test_an_alarm_that_is_over_is_taken_down(
    database: Database, mosquitto: Mosquitto, start: Start
) -> None:
    """Who listens sees its last state, then the topic is cleared; who comes later sees nothing."""
    alarm = states.acknowledged(states.raised(dry(), T).alarm, "ada", T).alarm
    keep(database, alarm)
    start()
    eventually(lambda: topic(alarm) in retained(mosquitto), "the alarm")
    with Listener(mosquitto.port, topic(alarm)) as listener:
        keep(database, states.returned(alarm, T + 1).alarm)
        eventually(lambda: len(listener.received) == 3, "the last state, and nothing")

    held, last, empty = listener.received
    assert held.retain
    assert json.loads(last.payload)["state"] == "normal"
    assert empty.payload == b""
    assert retained(mosquitto) == {}


def test_what_an_earlier_run_left_behind_is_taken_down(
    database: Database, mosquitto: Mosquitto, start: Start
) -> None:
    """Killed between commit and broker: put right at the next start. Others' alarms are theirs."""
    over = states.returned(states.acknowledged(states.raised(dry(), T).alarm, "a", T).alarm, T)
    standing = states.raised(dry(1), T).alarm
    keep(database, over.alarm, standing)
    with Listener(mosquitto.port, "dewkeep-alarms/#") as left:
        left.publish(topic(over.alarm), b"old", retain=True)
        left.publish("dewkeep-alarms/elsewhere/other.1", b"theirs", retain=True)
        start()
        eventually(lambda: topic(over.alarm) not in retained(mosquitto), "the old one is gone")

    assert set(retained(mosquitto)) == {topic(standing), "dewkeep-alarms/elsewhere/other.1"}


def test_a_broker_that_lost_everything_is_told_again(
    database: Database, mosquitto: Mosquitto, start: Start
) -> None:
    """After every connection all that stands is published anew."""
    alarm = states.raised(dry(), T).alarm
    keep(database, alarm)
    start()
    eventually(lambda: topic(alarm) in retained(mosquitto), "the alarm")
    mosquitto.kill()
    mosquitto.forget()
    mosquitto.start()

    eventually(lambda: topic(alarm) in retained(mosquitto), "the alarm again")


def test_a_worse_value_is_shown(database: Database, mosquitto: Mosquitto, start: Start) -> None:
    """Any change of the alarm is one, not only its state's."""
    alarm = states.raised(dry(), T).alarm
    keep(database, alarm)
    start()
    eventually(lambda: topic(alarm) in retained(mosquitto), "the alarm")
    keep(database, replace(alarm, extreme=30.5))

    eventually(
        lambda: json.loads(retained(mosquitto)[topic(alarm)])["extreme"] == 30.5, "the worse value"
    )


def test_a_cause_is_shown_once_it_is_known(
    database: Database, mosquitto: Mosquitto, start: Start
) -> None:
    """And again when it is revised."""
    alarm = states.raised(dry(), T).alarm
    keep(database, alarm)
    start()
    for kind in ("drying", "room"):
        with database.transaction() as connection:
            explanations.put(connection, alarm.id, T, json.dumps({"cause": {"kind": kind}}))

        def shown(kind: str = kind) -> bool:
            held = retained(mosquitto).get(topic(alarm))
            return held is not None and json.loads(held)["cause"] == {"kind": kind}

        eventually(shown, kind)


def test_it_stops_without_a_broker(mosquitto: Mosquitto, start: Start) -> None:
    """A broker that is away keeps nobody; no thread stays."""
    mosquitto.stop()
    before = threading.active_count()
    start().stop()

    assert threading.active_count() == before
