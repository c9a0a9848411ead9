"""Runs a scenario: in one go, or step by step as a live source, with the same result."""

from copy import deepcopy

import numpy as np

from monitor.simulation.enclosure import EnclosureRun
from monitor.simulation.models import EnclosureModel, Scenario
from monitor.simulation.record import EnclosureTruth, Event, Readings, Record, Times, ZoneTruth
from monitor.simulation.room import NO_AIR, RoomAir
from monitor.simulation.sensor import NO_READINGS, Sensor


class Simulator:
    """A scenario from ``start_ms`` on, in steps of ``step_s``; equal seeds give equal worlds.

    ``scenario`` may be replaced between two advances (another misting plan, a new fault) as long as
    its enclosures and probes keep their names and order.
    """

    def __init__(
        self, scenario: Scenario, start_ms: int, step_s: float = 60.0, seed: int = 0
    ) -> None:
        if step_s <= 0 or start_ms < 0 or seed < 0:
            raise ValueError(
                f"step_s {step_s} must be positive; start_ms {start_ms}, seed {seed} not negative"
            )
        self.scenario = scenario
        self.now_ms = start_ms
        self._step_ms = round(1000 * step_s)
        streams = np.random.default_rng(seed).spawn(2)
        self._room = RoomAir(streams[0], self._step_ms / 1000)
        self._enclosures = [
            EnclosureRun((seed, number), self._step_ms)
            for number in range(len(scenario.enclosures))
        ]
        built = {model.id: model.built_ms or start_ms for model in scenario.enclosures}
        self._sensors = [
            Sensor(stream, max(start_ms, built.get(probe.owner, start_ms)), self._step_ms)
            for probe, stream in zip(
                scenario.probes, streams[1].spawn(len(scenario.probes)), strict=True
            )
        ]

    def fork(self, scenario: Scenario | None = None) -> "Simulator":
        """A copy that goes on from here by itself, under another scenario if one is given.

        Both share what is to come: the same weather, noise and luck.
        """
        twin = deepcopy(self)
        twin.scenario = scenario or self.scenario
        return twin

    def advance(self, until_ms: int) -> Record:
        """All whole steps up to ``until_ms``: truth, readings and events since the last call."""
        steps = max(0, (until_ms - self.now_ms) // self._step_ms)
        ends_ms = self.now_ms + self._step_ms * np.arange(1, steps + 1, dtype=np.int64)
        self.now_ms += steps * self._step_ms
        scenario = self.scenario
        room = (
            self._room.advance(scenario.room, scenario.faults, scenario.clock, ends_ms)
            if steps
            else NO_AIR
        )
        events: list[Event] = []
        enclosures: dict[str, EnclosureTruth] = {}
        unbuilt: dict[str, int] = {}
        for model, run in zip(scenario.enclosures, self._enclosures, strict=True):
            begin = unbuilt[model.id] = self._first_step(model, ends_ms)
            truth = EnclosureTruth.unbuilt([zone.name for zone in model.zones], begin)
            if begin < steps:
                built, happened = run.advance(
                    model, scenario.faults, scenario.clock, ends_ms[begin:], room.since(begin)
                )
                truth = truth.then(built) if begin else built
                events += happened
            enclosures[model.id] = truth
        events.sort(key=lambda event: (event.at_ms, event.owner))

        readings: dict[tuple[str, str], Readings] = {}
        for probe, sensor in zip(scenario.probes, self._sensors, strict=True):
            if probe.owner == scenario.room_id:
                air, begin = ZoneTruth(room.temperature, room.humidity), 0
            else:
                air, begin = enclosures[probe.owner].zones[probe.zone], unbuilt[probe.owner]
            readings[probe.owner, probe.id] = (
                sensor.advance(probe, scenario.faults, ends_ms[begin:], air.since(begin))
                if begin < steps
                else NO_READINGS
            )
        return Record(ends_ms, room, enclosures, readings, tuple(events))

    def _first_step(self, model: EnclosureModel, ends_ms: Times) -> int:
        """Index of the first step that begins with the enclosure in place."""
        if model.built_ms is None:
            return 0
        return int(np.searchsorted(ends_ms - self._step_ms, model.built_ms))


def simulate(
    scenario: Scenario, start_ms: int, end_ms: int, step_s: float = 60.0, seed: int = 0
) -> Record:
    """The whole scenario from ``start_ms`` to ``end_ms`` at once (epoch milliseconds, UTC)."""
    return Simulator(scenario, start_ms, step_s, seed).advance(end_ms)
