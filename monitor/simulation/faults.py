"""What can go wrong in a simulated room, as data, and what each of it physically is."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray


class FaultKind(StrEnum):
    """A thing that goes wrong. ``Fault.strength`` means something else for each, see below."""

    MISTER_FAILURE = "mister_failure"
    LID_OPEN = "lid_open"
    HEAT_MAT_STUCK_ON = "heat_mat_stuck_on"
    LAMP_STUCK_ON = "lamp_stuck_on"
    LAMP_FAILURE = "lamp_failure"
    ROOM_HEATING_DRY = "room_heating_dry"
    ROOM_DRY_AIR = "room_dry_air"
    PROBE_DRIFT = "probe_drift"
    PROBE_JUMP = "probe_jump"
    PROBE_STUCK = "probe_stuck"
    PROBE_UNPLUGGED = "probe_unplugged"
    BROKER_DOWN = "broker_down"


@dataclass(frozen=True, slots=True)
class _Trait:
    cause: str | None
    strength: float
    aims_at: str


_TRAITS = {
    FaultKind.MISTER_FAILURE: _Trait("drying", 1.0, "enclosure"),
    FaultKind.LID_OPEN: _Trait("drying", 12.0, "enclosure"),
    FaultKind.HEAT_MAT_STUCK_ON: _Trait("warming", 1.0, "enclosure"),
    FaultKind.LAMP_STUCK_ON: _Trait("warming", 1.0, "enclosure"),
    FaultKind.LAMP_FAILURE: _Trait(None, 1.0, "enclosure"),
    FaultKind.ROOM_HEATING_DRY: _Trait("room", 4.0, "room"),
    FaultKind.ROOM_DRY_AIR: _Trait("room", 0.35, "room"),
    FaultKind.PROBE_DRIFT: _Trait("probe", -2.0, "probe"),
    FaultKind.PROBE_JUMP: _Trait("probe", -15.0, "probe"),
    FaultKind.PROBE_STUCK: _Trait("probe", 1.0, "probe"),
    FaultKind.PROBE_UNPLUGGED: _Trait("probe", 1.0, "probe"),
    FaultKind.BROKER_DOWN: _Trait(None, 1.0, "nothing"),
}


@dataclass(frozen=True, slots=True)
class Fault:
    """Something is wrong from ``start_ms`` until ``end_ms`` (without it: for good).

    ``strength``, where a kind has one: the share of the dose that is lost (mister_failure), air
    exchange added per hour (lid_open), the least share of the mat's power (heat_mat_stuck_on),
    kelvin the room warms (room_heating_dry), share of the room's vapour lost (room_dry_air), %RH
    per hour (probe_drift), %RH (probe_jump). A broker that is down changes nothing in the room:
    the entry only says when.
    """

    kind: FaultKind
    start_ms: int
    end_ms: int | None = None
    owner: str | None = None
    """The enclosure, or the owner of the probe."""
    probe: str | None = None
    strength: float | None = None

    @property
    def cause(self) -> str | None:
        """Why humidity falls under this fault; None where it does not make it fall."""
        return _TRAITS[self.kind].cause

    @property
    def amount(self) -> float:
        """The strength given, or the usual one of its kind."""
        return _TRAITS[self.kind].strength if self.strength is None else self.strength

    def at(self, times_ms: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Where it is present, for each of the times."""
        present = times_ms >= self.start_ms
        return present if self.end_ms is None else present & (times_ms < self.end_ms)

    def check(self, owners: set[str], probes: set[tuple[str, str]], room_id: str) -> None:
        """Refuse a fault that names nothing in the scenario.

        Raises:
            ValueError: it names no enclosure or probe of the scenario, or ends before it starts.
        """
        aims_at = _TRAITS[self.kind].aims_at
        if self.end_ms is not None and self.end_ms <= self.start_ms:
            raise ValueError(f"{self.kind}: end_ms {self.end_ms} must lie after {self.start_ms}")
        if aims_at == "enclosure" and self.owner not in owners - {room_id}:
            raise ValueError(f"{self.kind}: owner {self.owner!r} is no enclosure")
        if aims_at == "probe" and (self.owner, self.probe) not in probes:
            raise ValueError(f"{self.kind}: no probe {self.owner}/{self.probe}")


def select(
    faults: Iterable[Fault], kind: FaultKind, owner: str | None = None, probe: str | None = None
) -> list[Fault]:
    """The faults of one kind that hit this enclosure or probe (of the room: without owner)."""
    return [
        fault
        for fault in faults
        if fault.kind is kind
        and (owner is None or fault.owner == owner)
        and (probe is None or fault.probe == probe)
    ]


def level(faults: Iterable[Fault], times_ms: NDArray[np.int64]) -> NDArray[np.float64]:
    """Summed strength of those faults at each of the times; 0 where none is present."""
    total = np.zeros(len(times_ms))
    for fault in faults:
        total += np.where(fault.at(times_ms), fault.amount, 0.0)
    return total
