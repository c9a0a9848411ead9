"""What a simulation leaves: the truth, the readings, and what a journal would know."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from heapq import merge
from itertools import repeat
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from monitor.simulation.courses import Column
from monitor.simulation.moisture import WaterTruth
from monitor.simulation.room import RoomTruth

Times = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class ZoneTruth:
    """Air in one zone at the end of each step: Cel, %RH."""

    temperature: Column
    humidity: Column

    def since(self, step: int) -> Self:
        """The same without the first ``step`` steps."""
        return type(self)(self.temperature[step:], self.humidity[step:])

    def then(self, later: Self) -> Self:
        """This stretch followed by the next."""
        return type(self)(
            np.concatenate([self.temperature, later.temperature]),
            np.concatenate([self.humidity, later.humidity]),
        )


@dataclass(frozen=True, slots=True)
class EnclosureTruth:
    """One enclosure at the end of each step; NaN before it was built."""

    zones: dict[str, ZoneTruth]
    water: WaterTruth
    exchange: Column
    """Air changes per hour."""
    lamp: Column
    """1 while it burns."""
    mat: Column
    """Its power, 0 to 1."""

    @classmethod
    def unbuilt(cls, names: Iterable[str], steps: int) -> Self:
        """That many steps of an enclosure that is not there yet."""
        gap = np.full(steps, np.nan)
        zones = {name: ZoneTruth(gap, gap) for name in names}
        return cls(zones, WaterTruth(gap, gap, gap, gap, gap, gap), gap, gap, gap)

    def then(self, later: Self) -> Self:
        """This stretch followed by another of the same enclosure."""
        return type(self)(
            {name: zone.then(later.zones[name]) for name, zone in self.zones.items()},
            self.water.then(later.water),
            np.concatenate([self.exchange, later.exchange]),
            np.concatenate([self.lamp, later.lamp]),
            np.concatenate([self.mat, later.mat]),
        )


@dataclass(frozen=True, slots=True)
class Readings:
    """What one probe reported."""

    at_ms: Times
    temperature: Column
    humidity: Column

    def then(self, later: Self) -> Self:
        """These, followed by later ones."""
        return type(self)(
            np.concatenate([self.at_ms, later.at_ms]),
            np.concatenate([self.temperature, later.temperature]),
            np.concatenate([self.humidity, later.humidity]),
        )


@dataclass(frozen=True, slots=True)
class Event:
    """Something a journal would hold: ``misted``, ``maintenance`` or ``inspection``."""

    at_ms: int
    owner: str
    kind: str
    detail: Mapping[str, float | bool | str]


class Message(NamedTuple):
    """One report of one probe."""

    at_ms: int
    owner: str
    probe: str
    temperature: float
    humidity: float


@dataclass(frozen=True, slots=True)
class Record:
    """A stretch of simulated time; ``at_ms`` are the ends of the steps, which all truths share."""

    at_ms: Times
    room: RoomTruth
    enclosures: dict[str, EnclosureTruth]
    readings: dict[tuple[str, str], Readings]
    events: tuple[Event, ...]

    def then(self, later: Self) -> Self:
        """This stretch followed by the next one of the same simulation."""
        return type(self)(
            np.concatenate([self.at_ms, later.at_ms]),
            self.room.then(later.room),
            {id_: truth.then(later.enclosures[id_]) for id_, truth in self.enclosures.items()},
            {key: told.then(later.readings[key]) for key, told in self.readings.items()},
            self.events + later.events,
        )

    def messages(self) -> Iterator[Message]:
        """All reports of all probes in the order of their times."""
        streams = (
            zip(
                told.at_ms.tolist(),
                repeat(owner),
                repeat(probe),
                told.temperature.tolist(),
                told.humidity.tolist(),
                strict=False,
            )
            for (owner, probe), told in self.readings.items()
        )
        return (Message(*row) for row in merge(*streams))


def first_below(
    at_ms: Times, values: Column, limit: float | Column, hold_s: float = 0.0
) -> int | None:
    """When ``values`` first fall below ``limit`` and stay there for ``hold_s`` (None: never)."""
    below = values < limit
    edges = np.flatnonzero(np.diff(np.concatenate([[False], below, [False]]).astype(np.int8)))
    for first, beyond in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if at_ms[beyond - 1] - at_ms[first] >= 1000 * hold_s:
            return int(at_ms[first])
    return None
