"""Puts into the outbox what the policy of the channels calls for.

Belongs to the thread that changes the alarms, so that nothing is told that no longer stands.
"""

import json
import logging
import sqlite3
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Self

from monitor.alarms.model import Alarm
from monitor.alarms.notices import CALLS, LinkMaker, Scribe, Whereabouts
from monitor.alarms.policy import CALLING, LIMITED_MS, Due, due_after, due_by_time, seen_to
from monitor.alarms.states import Change
from monitor.quantities import Quantity
from monitor.setup.channels import Channel
from monitor.setup.settings import Settings
from monitor.store.sqlite.database import Database
from monitor.store.sqlite.state import explanations, links, outbox
from monitor.times import SECOND_MS

log = logging.getLogger(__name__)

EXPLAINED = Quantity.HUMIDITY
HOLD_MS = 8 * SECOND_MS
"""How long the notice of a humidity alarm waits for its cause before it leaves without one."""
LOOK_EVERY_MS = 5 * SECOND_MS
"""How often it is looked up what time alone makes due."""


class Teller:
    """Tells on some channels; ``link`` makes the links that acknowledge. Make one with ``load``."""

    def __init__(self, channels: Sequence[Channel], link: LinkMaker | None = None) -> None:
        self._channels = channels
        self._link = link
        self._looked_ms = 0

    @classmethod
    def load(cls, connection: sqlite3.Connection, settings: Settings) -> Self:
        """A teller for the channels of the settings; needs a writing connection."""
        return cls(settings.channel, _link_maker(connection, settings.server.public_url))

    def after(
        self,
        connection: sqlite3.Connection,
        events: Sequence[Change],
        places: Mapping[str, Whereabouts],
        now_ms: int,
    ) -> bool:
        """Put in line what the events of a step call for, in their own transaction.

        What waits there and calls for an alarm that a keeper has seen to is called off.

        Returns:
            Whether there was anything to put in line.
        """
        if not events or not self._channels:
            return False
        for alarm_id, by in seen_to(events).items():
            for channel, key in outbox.call_off(connection, alarm_id, CALLS, now_ms):
                log.info("channel %s: %s: called off, %s has seen to it", channel, key, by)
        about = {event.alarm.id: event.alarm for event in events}
        told = outbox.told(connection, about, now_ms - LIMITED_MS)
        scribe = self._scribe(connection, about, places)
        due = due_after(events, self._channels, told, scribe, now_ms)
        # A humidity alarm leaves with its cause, which takes a moment to find (jobs.explainer).
        unexplained = {
            alarm.id
            for alarm in about.values()
            if alarm.point.quantity is EXPLAINED and alarm.id not in scribe.explanations
        }
        return _put(connection, due, now_ms, unexplained)

    def by_time(
        self,
        database: Database,
        alarms: Iterable[Alarm],
        places: Mapping[str, Whereabouts],
        now_ms: int,
    ) -> bool:
        """Put in line what has become due of the alarms that are not over; call it at every tick.

        Returns:
            Whether there was anything.
        """
        if not self._channels or abs(now_ms - self._looked_ms) < LOOK_EVERY_MS:
            return False
        self._looked_ms = now_ms
        calling = [each for each in alarms if each.state in CALLING]
        if not calling:
            return False
        about = [alarm.id for alarm in calling]
        with database.reading() as connection:
            told = outbox.told(connection, about, now_ms - LIMITED_MS)
            scribe = self._scribe(connection, about, places)
        due = due_by_time(calling, self._channels, told, scribe, now_ms)
        if not due.notices:
            return False
        with database.transaction() as connection:
            return _put(connection, due, now_ms)

    def _scribe(
        self,
        connection: sqlite3.Connection,
        alarm_ids: Collection[str],
        places: Mapping[str, Whereabouts],
    ) -> Scribe:
        why = explanations.of(connection, alarm_ids)
        return Scribe(places, {each: json.loads(body) for each, body in why.items()}, self._link)


def _put(
    connection: sqlite3.Connection, due: Due, now_ms: int, to_hold: Collection[str] = ()
) -> bool:
    outbox.cover(connection, due.covered, now_ms)
    added = 0
    for notice in due.notices:
        hold_ms = HOLD_MS if notice.idempotency_key.partition("/")[0] in to_hold else 0
        added += outbox.add(connection, [notice], now_ms, hold_ms)
    return added > 0


def _link_maker(connection: sqlite3.Connection, public_url: str | None) -> LinkMaker | None:
    if public_url is None:
        return None
    key = links.secret(connection)

    def link(alarm_id: str, now_ms: int) -> str:
        ticket = links.issue(key, alarm_id, links.new_nonce(), now_ms)
        return f"{public_url}/acknowledge/{alarm_id}/{ticket}"

    return link
