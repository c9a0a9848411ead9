"""One owner for each enclosure: a daemon's claim, retained at the broker while the daemon lives.

Every daemon publishes what it watches on ``dewkeep-shares/CLIENT_ID/SESSION`` and reads what the
others do. The broker puts claims in an order that all of them see: who reads a claim that meets its
own before its own comes back was second, and gives way. A last will takes the claim of a daemon
that died down, so that another one, or itself started anew, can follow.
"""

import contextlib
import json
import logging
import time
import uuid
from collections.abc import Callable

import paho.mqtt.client as paho
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from monitor.errors import Conflict, StoreUnavailable
from monitor.notify.mqtt import client_maker
from monitor.setup.settings import BrokerSettings
from monitor.setup.share import ShareSettings

log = logging.getLogger(__name__)

ROOT = "dewkeep-shares"
WITHIN_S = 20.0
"""Longer than the broker takes to notice that a daemon has died without a word."""
KEEPALIVE_S = 10
LOOK_EVERY_S = 0.02


class Claim:
    """What a daemon says it watches; ``lost`` is called when it no longer may.

    That happens when the broker was away and someone else followed in that time.
    """

    def __init__(
        self, broker: BrokerSettings, share: ShareSettings, lost: Callable[[str], None]
    ) -> None:
        self._broker = broker
        self._share = share
        self._lost = lost
        session = uuid.uuid4().hex
        self._topic = f"{ROOT}/{broker.client_id}/{session}"
        self._body = json.dumps(share.model_dump(mode="json"))
        self._held = False
        self._rival = ""
        self.says = ""
        """Why it had to give way, if it had to."""
        # A name of its own for each connection: a twin with our client id is told, not thrown out.
        self._client = client_maker(broker, broker.secret(), f"{broker.client_id}-{session[:8]}")()
        self._client.reconnect_delay_set(1, 10)
        self._client.will_set(self._topic, None, qos=1, retain=True)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    def take(self, within_s: float = WITHIN_S) -> None:
        """Claim it and wait until that is settled.

        One that died under our own client id is waited for: the broker may not know yet.

        Raises:
            Conflict: another daemon watches some of it; says which.
            StoreUnavailable: the broker does not answer, so nobody knows.
        """
        self._client.connect_async(self._broker.host, self._broker.port, KEEPALIVE_S)
        self._client.loop_start()
        until = time.monotonic() + within_s
        while not self._held and time.monotonic() < until:
            if self.says and not self._rival.startswith(f"{ROOT}/{self._broker.client_id}/"):
                break
            time.sleep(LOOK_EVERY_S)
        if self._held:
            return
        self.release()
        if self.says:
            raise Conflict(self.says)
        raise StoreUnavailable(
            f"broker {self._broker.host}:{self._broker.port}: no answer, so nobody knows "
            f"whether another daemon watches {self._share} too"
        )

    def release(self) -> None:
        """Take the claim down."""
        self._held = False
        if self._client.is_connected():
            with contextlib.suppress(RuntimeError, ValueError):
                self._client.publish(self._topic, None, qos=1, retain=True).wait_for_publish(1.0)
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(
        self,
        client: paho.Client,
        _userdata: object,
        _flags: paho.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if not reason.is_failure:
            client.subscribe(f"{ROOT}/+/+", qos=1)

    def _on_subscribe(self, client: paho.Client, *_: object) -> None:
        # What others have claimed arrives before this comes back.
        client.publish(self._topic, self._body, qos=1, retain=True)

    def _on_message(
        self, client: paho.Client, _userdata: object, message: paho.MQTTMessage
    ) -> None:
        if message.topic == self._topic:
            self._held = self._held or (bool(message.payload) and not self.says)
        elif not message.payload:
            if message.topic == self._rival and not self._held:
                self.says = self._rival = ""
                client.publish(self._topic, self._body, qos=1, retain=True)
        elif not self.says and not (self._held and not message.retain):
            # One that comes after us, not retained, is for the other to see and to give way.
            other = _share_in(bytes(message.payload))
            if other is not None and other.meets(self._share):
                self._give_way(message.topic, other)

    def _give_way(self, rival: str, other: ShareSettings) -> None:
        name = rival.split("/")[1]
        who = "another daemon of this id" if name == self._broker.client_id else name
        self.says = (
            f"{who} watches {other}, so {self._broker.client_id} must not watch "
            f"{self._share}: every enclosure has one owner"
        )
        self._rival = rival
        had, self._held = self._held, False
        self._client.publish(self._topic, None, qos=1, retain=True)
        if had:
            self._lost(self.says)


def _share_in(payload: bytes) -> ShareSettings | None:
    """What a claim says; None if it is none of ours."""
    try:
        return ShareSettings.model_validate(json.loads(payload))
    except ValueError:
        log.warning("no claim of a daemon: %r", payload[:200])
        return None
