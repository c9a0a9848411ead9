"""Alarms, channels and what an outbox remembers, for tests of what is told."""

from collections.abc import Mapping
from typing import Any
from zoneinfo import ZoneInfo

from monitor.alarms.model import Alarm, Condition, PointKey, Priority, State
from monitor.alarms.notices import Scribe, Whereabouts
from monitor.quantities import Quantity
from monitor.setup.channels import Webhook
from monitor.setup.models import Zone
from monitor.store.rows import Told

T = 1_796_000_000_000
MINUTE = 60_000
LISBON = ZoneInfo("Europe/Lisbon")
PLACES = {"cork-cube": Whereabouts("Cork cube", LISBON)}
SCRIBE = Scribe(PLACES)
NOTHING = Told({}, {})


def channel(name: str = "phone", **policy: Any) -> Webhook:
    """A channel with a policy."""
    about = {"name": name, "kind": "webhook", "url": "https://hooks.example/"}
    return Webhook.model_validate(about | policy)


def dry(number: int = 0, priority: Priority = Priority.WARNING, place: str = "cork-cube") -> Alarm:
    """A humidity alarm that is about to be raised."""
    point = PointKey(place, "canopy", Quantity.HUMIDITY, Condition.LOW)
    return Alarm(
        id=f"{point}.{T + number}",
        point=point,
        zone=Zone.CANOPY,
        priority=priority,
        state=State.NORMAL,
        since_ms=T - 20 * MINUTE,
        raised_at_ms=T + number,
        value=38.2,
        limit=60.0,
        extreme=38.2,
    )


def remembered(at: Mapping[tuple[str, str], int], **lately: int) -> Told:
    """What an outbox remembers."""
    return Told(at, lately)
