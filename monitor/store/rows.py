"""What the mind asks the memory to keep for it: documents with the few columns one looks for.

``body`` is JSON text that the memory never reads.
"""

import datetime as dt
from collections.abc import Mapping
from typing import NamedTuple


class AlarmRow(NamedTuple):
    """One occurrence of an alarm; ``closed`` once nothing about it can change any more."""

    id: str
    place: str
    state: str
    raised_at_ms: int
    closed: bool
    body: str


class PointRow(NamedTuple):
    """What is remembered of one watched point between readings."""

    key: str
    body: str


class SuppressionRow(NamedTuple):
    """What keeps alarms of a place quiet; a newer one under the same key takes its place."""

    key: str
    place: str
    body: str


class Told(NamedTuple):
    """What the outbox remembers of notices, delivered or not."""

    at_ms: Mapping[tuple[str, str], int]
    """When each was put in line, by channel and idempotency key."""
    lately: Mapping[str, int]
    """How many were put in line of late, by channel."""


class Notice(NamedTuple):
    """Something to be told on one channel; ``idempotency_key`` tells repeats apart there."""

    channel: str
    idempotency_key: str
    kind: str
    body: str
    """JSON text, sent as it stands."""


class VerdictRow(NamedTuple):
    """A verdict on a build: found from ``since_ms`` to ``at_ms`` each time it was asked for.

    ``built_on`` tells builds in one enclosure apart; ``says`` is what held it up when it was last
    found, None if nothing.
    """

    place: str
    since_ms: int
    at_ms: int
    verdict: str
    built_on: dt.date | None
    says: str | None
