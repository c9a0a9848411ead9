"""A simulated room with living enclosures: ground truth for demo, tests, benchmarks.

Write a ``Scenario``, then ``simulate`` it in one go or step a ``Simulator`` through it.
``random_scenarios`` draws unseen ones, ``demo_room`` holds that of the demo, ``colony`` the mould
and the crew of a new build. docs/simulation.md has every equation.
"""

from monitor.simulation.faults import Fault, FaultKind
from monitor.simulation.models import (
    EnclosureModel,
    Heating,
    HeatMat,
    Misting,
    Opening,
    ProbeModel,
    RoomModel,
    Scenario,
    ZoneModel,
)
from monitor.simulation.record import Event, Message, Readings, Record, first_below
from monitor.simulation.simulator import Simulator, simulate

__all__ = [
    "EnclosureModel",
    "Event",
    "Fault",
    "FaultKind",
    "HeatMat",
    "Heating",
    "Message",
    "Misting",
    "Opening",
    "ProbeModel",
    "Readings",
    "Record",
    "RoomModel",
    "Scenario",
    "Simulator",
    "ZoneModel",
    "first_below",
    "simulate",
]
