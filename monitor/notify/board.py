"""The alarms that are not over, retained at the broker for whoever looks.

Each has a topic of its own, ``dewkeep-alarms/PLACE/ALARM``. Nothing is remembered of what was
published: at every connection all of it is published again, and what the broker still holds of
alarms that are over is taken down.
"""

import json
import logging
import sqlite3
import threading
from collections.abc import Callable
from queue import Empty, SimpleQueue

import paho.mqtt.client as paho
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.alarms.notices import Scribe, whereabouts
from monitor.alarms.records import load_alarm
from monitor.errors import NotFound, StoreError
from monitor.notify.mqtt import client_maker
from monitor.setup.settings import BrokerSettings
from monitor.store.rows import AlarmRow
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import alarms, explanations, setup

log = logging.getLogger(__name__)

ROOT = "dewkeep-alarms"
LOOK_EVERY_S = 1.0
LONGEST_PAUSE_S = 60
CONNECT_WITHIN_S = 3.0
STOP_WITHIN_S = 2.0


class AlarmBoard:
    """Keeps the broker's picture of the alarms up to date, on a connection of its own.

    ``clock`` gives epoch milliseconds UTC.

    Raises:
        SettingsError: password or certificates cannot be read.
    """

    def __init__(
        self,
        broker: BrokerSettings,
        database: Database,
        *,
        clock: Callable[[], int],
        look_every_s: float = LOOK_EVERY_S,
    ) -> None:
        self._broker = broker
        self._database = database
        self._clock = clock
        self._look_every_s = look_every_s
        self._shown: dict[str, tuple[AlarmRow, str | None]] = {}
        self._refused = False
        self._anew = threading.Event()
        self._held: SimpleQueue[str] = SimpleQueue()
        self._stopping = threading.Event()
        self._client = client_maker(broker, broker.secret(), f"{broker.client_id}-alarms")()
        self._client.connect_timeout = CONNECT_WITHIN_S
        self._client.reconnect_delay_set(1, LONGEST_PAUSE_S)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._thread = threading.Thread(target=self._run, name="alarm-board", daemon=True)

    def start(self) -> None:
        """Begin; the broker may be away."""
        self._client.connect_async(self._broker.host, self._broker.port)
        self._client.loop_start()
        self._thread.start()

    def stop(self) -> None:
        """Leave the broker with what it holds."""
        self._stopping.set()
        self._thread.join(STOP_WITHIN_S)
        self._client.disconnect()
        self._client.loop_stop()

    def _run(self) -> None:
        while not self._stopping.wait(self._look_every_s):
            if not self._client.is_connected():
                continue
            try:
                self._show()
            except StoreError as exc:
                log.warning("the alarms at the broker are not up to date: %s", exc)
            except Exception:
                log.exception("a fault in the alarm board")

    def _show(self) -> None:
        """Publish what is new or changed, and take down what is over."""
        if self._anew.is_set():
            self._anew.clear()
            self._shown.clear()
        with self._database.reading() as connection:
            rows = {row.id: row for row in alarms.still_open(connection)}
            over = {*self._shown, *self._learn_held()} - rows.keys()
            why = explanations.of(connection, [*rows, *over])
            standing = {row.id: (row, why.get(row.id)) for row in rows.values()}
            put_up = [row for row in rows.values() if self._shown.get(row.id) != standing[row.id]]
            take_down = [row for each in over if (row := _kept(connection, each)) is not None]
            if not (put_up or take_down):
                return
            places = whereabouts(setup.everything(connection))
        scribe = Scribe(places, {each: json.loads(body) for each, body in why.items()})
        now_ms = self._clock()
        for row in (*put_up, *take_down):
            text = json.dumps(scribe.document(load_alarm(row.body), now_ms), ensure_ascii=False)
            self._client.publish(_topic(row), text, qos=1, retain=not row.closed)
        for row in take_down:
            self._client.publish(_topic(row), b"", qos=1, retain=True)
        self._shown = standing

    def _learn_held(self) -> set[str]:
        """The alarms that the broker was found to hold."""
        found = set()
        while True:
            try:
                found.add(self._held.get_nowait())
            except Empty:
                return found

    def _on_connect(
        self,
        client: paho.Client,
        _userdata: object,
        _flags: paho.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if reason.is_failure:
            if not self._refused:
                log.warning("the broker refuses to take the alarms: %s", reason)
            self._refused = True
            return
        self._refused = False
        self._anew.set()
        client.subscribe(f"{ROOT}/+/+", qos=1)

    def _on_message(
        self, _client: paho.Client, _userdata: object, message: paho.MQTTMessage
    ) -> None:
        if message.retain and message.payload:
            self._held.put(message.topic.rpartition("/")[2])


def _topic(row: AlarmRow) -> str:
    return f"{ROOT}/{row.place}/{row.id}"


def _kept(connection: sqlite3.Connection, alarm_id: str) -> AlarmRow | None:
    """An alarm of ours; others on the same broker are another daemon's."""
    try:
        return alarms.get(connection, alarm_id)
    except NotFound:
        return None
