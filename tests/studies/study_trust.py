"""How often probes in order are advised about, and faults of probes found.

    python -m tests.studies.study_trust [--rooms 40]

prints the table of docs/probes.md: simulated rooms with two probes in one zone of an enclosure, for
four weeks, in order or with one fault in one of them.
"""

import argparse
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from monitor.analysis.trust import Check, Misting, Past, trust
from monitor.simulation import ProbeModel, Record, Scenario, simulate
from monitor.simulation.random_rooms import random_room, random_tank
from monitor.species.ranges import Zone
from monitor.times import DAY_MS

START_MS = 20_454 * DAY_MS
DAYS = 28
TANK = "tank"

Fault = Callable[[ProbeModel], ProbeModel]

FAULTS: dict[str, Fault] = {
    "none": lambda probe: probe,
    "reads 10 %RH less": lambda probe: replace(probe, humidity_offset=probe.humidity_offset - 10.0),
    "drifts by 0.15 %RH a day": lambda probe: replace(probe, humidity_drift=-0.15),
    "gain 0.85": lambda probe: replace(probe, humidity_gain=0.85),
    "lags by 25 min": lambda probe: replace(probe, humidity_lag_s=1500.0),
}


def room(chance: np.random.Generator, fault: Fault) -> list[Past]:
    """Four weeks of a random room as the checks see it."""
    tank = random_tank(chance, TANK, long=False, misted=True)
    first, second = (_probe(chance, name) for name in ("a", "b"))
    scenario = Scenario((tank,), (first, fault(second)), random_room(chance))
    record = simulate(
        scenario, START_MS, START_MS + DAYS * DAY_MS, seed=int(chance.integers(2**31))
    )
    return [_past(record, probe) for probe in scenario.probes]


def _probe(chance: np.random.Generator, name: str) -> ProbeModel:
    """One in order, as bought."""
    return ProbeModel(
        TANK,
        name,
        "canopy",
        temperature_offset=chance.uniform(-0.3, 0.3),
        humidity_offset=chance.uniform(-2.0, 2.0),
        humidity_noise=chance.uniform(0.1, 0.5),
        temperature_lag_s=chance.uniform(20.0, 180.0),
        humidity_lag_s=chance.uniform(10.0, 120.0),
    )


def _past(record: Record, probe: ProbeModel) -> Past:
    told = record.readings[TANK, probe.id]
    mistings = [Misting(each.at_ms, exact=True) for each in record.events if each.kind == "misted"]
    return Past(
        probe.id,
        Zone.CANOPY,
        probe.period_s,
        told.at_ms,
        told.temperature,
        told.humidity,
        mistings,
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=40)
    rooms = parser.parse_args().rooms
    print("fault of b | " + " | ".join(Check) + " | (rooms in which a or b got that advice)")
    for number, (name, fault) in enumerate(FAULTS.items()):
        chance = np.random.default_rng(number)
        counted: Counter[Check] = Counter()
        for _ in range(rooms):
            found = trust(room(chance, fault), START_MS + DAYS * DAY_MS)
            counted.update({advice.check for each in found for advice in each.advice})
        print(name, "|", " | ".join(f"{counted[check]}/{rooms}" for check in Check))


if __name__ == "__main__":
    main()
