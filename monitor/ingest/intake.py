"""Messages to columns: the hot part of the ingest, run for every message."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from monitor.errors import NotFound, PayloadError
from monitor.ingest.link import Message
from monitor.ingest.rejects import Reject
from monitor.ingest.roster import Position, Roster
from monitor.quantities import Quantity
from monitor.store.readings import Readings

UNKNOWN = "unknown"
"""Rejected because no source or probe is set up for the topic."""


class Switched(NamedTuple):
    """Something in an enclosure that reported itself on or off."""

    place: str
    name: str
    at_ms: int
    on: bool


class Intake(NamedTuple):
    """What a batch of messages held; the readings are not judged yet."""

    readings: Readings
    switched: list[Switched]
    rejects: list[Reject]


def take_in(
    messages: Sequence[Message],
    roster: Roster,
    arrival_ms: int,
    new_series: Callable[[Position, Quantity], int],
) -> Intake:
    """Decode messages; what cannot be used is left out with its reason.

    ``new_series`` gives the id of a quantity that its probe sends for the first time.
    """
    series: list[int] = []
    times: list[int] = []
    values: list[float] = []
    switched: list[Switched] = []
    rejects: list[Reject] = []
    for message in messages:
        topic = message.topic
        try:
            route = roster.route(topic)
            decoded = route.decode(message.payload, arrival_ms)
        except NotFound as exc:
            rejects.append(Reject(arrival_ms, topic, UNKNOWN, str(exc)))
            continue
        except PayloadError as exc:
            rejects.append(Reject(arrival_ms, topic, exc.reason, exc.says))
            continue
        position = route.position
        known = position.series
        numbers, switches = decoded.numbers, decoded.switches
        if message.retained:
            # Of unknown age: a probe that died weeks ago must not report whenever we connect.
            numbers = [each for each in numbers if each[1] != arrival_ms]
            switches = [each for each in switches if each[1] != arrival_ms]
        elif route.timeless:
            numbers = position.together(numbers, arrival_ms)
        for quantity, at_ms, value in numbers:
            series.append(known.get(quantity) or new_series(position, quantity))
            times.append(at_ms)
            values.append(value)
        for name, at_ms, on in switches:
            switched.append(Switched(position.place, name, at_ms, on))
        for reason, says in decoded.rejects:
            rejects.append(Reject(arrival_ms, topic, reason, says))
    return Intake(
        Readings(
            np.array(series, np.int64),
            np.array(times, np.int64),
            np.array(values, np.float64),
            np.zeros(len(series), np.uint8),
        ),
        switched,
        rejects,
    )
