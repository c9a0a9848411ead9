"""What a simulated room is made of: the numbers a scenario is written in.

docs/simulation.md states the equation each number stands in and where its typical value comes from.
Times of day are local wall clock of the scenario's time zone; ``exchange`` and ``kappa`` are rates
per hour; gains (``_k``) are kelvin above the room in the steady state.
"""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from monitor.simulation.faults import Fault

SUBSTRATE = "substrate"
"""The one zone whose temperature is that of the wet store and not of the air."""

ROOM = "room"
"""The zone of a probe that hangs outside the enclosures."""


@dataclass(frozen=True, slots=True)
class Heating:
    """The room's heating runs every day from ``on`` to ``off`` and adds ``gain_k``."""

    on: dt.time
    off: dt.time
    gain_k: float


@dataclass(frozen=True, slots=True)
class RoomModel:
    """The air outside the enclosures, driven by the weather."""

    temperature: float = 20.5
    """Cel, without weather and heating."""
    daily_k: float = 0.8
    """Half the swing between the coolest hour (05:00) and the warmest (17:00)."""
    weather_k: float = 1.2
    """Standard deviation of the room's slow course (days)."""
    unrest_k: float = 0.15
    """Standard deviation of its fast course (people, doors, sun)."""
    vapour_pressure: float = 1.15
    """kPa, mean."""
    daily_kpa: float = 0.03
    weather_kpa: float = 0.10
    unrest_kpa: float = 0.015
    inertia_s: float = 2400.0
    """Time constant with which the room follows heating."""
    heating: tuple[Heating, ...] = ()


@dataclass(frozen=True, slots=True)
class ZoneModel:
    """One place in an enclosure."""

    name: str
    lamp_k: float = 0.0
    mat_k: float = 0.0
    offset_k: float = 0.0
    """Constant difference to the room: stratification, electronics, a cold floor."""
    tau_s: float = 1200.0
    """Time constant of its temperature."""
    near_substrate: float = 0.0
    """0: the well-mixed air; 1: the air in the pores of the substrate."""
    mist_dip_k_per_g: float = 0.0
    """How far each gram of mist cools it at once."""


@dataclass(frozen=True, slots=True)
class HeatMat:
    """A mat on a two-point thermostat whose feeler lies in ``zone``."""

    zone: str
    setpoint: float
    night_setpoint: float | None = None
    """While the lights are off; default: the same."""
    hysteresis_k: float = 0.4


@dataclass(frozen=True, slots=True)
class Misting:
    """A mister that runs ``seconds`` at each of the ``times``."""

    times: tuple[dt.time, ...]
    seconds: float
    dose_g_per_s: float = 1.0
    spread: float = 0.08
    """Standard deviation of the dose from one misting to the next, as a share."""


@dataclass(frozen=True, slots=True)
class Opening:
    """The keeper opens the lid on some days, within the hour from ``at``, to feed or clean."""

    at: dt.time
    minutes: float = 4.0
    exchange: float = 8.0
    """Added air exchange while open."""
    chance: float = 0.5
    """How likely on any one day."""


@dataclass(frozen=True, slots=True)
class EnclosureModel:
    """One closed habitat: a well-mixed air volume, wet surfaces and a substrate."""

    id: str
    zones: tuple[ZoneModel, ...]
    volume_m3: float = 0.09
    lights_on: dt.time = dt.time(8)
    lights_off: dt.time = dt.time(20)
    mat: HeatMat | None = None
    misting: tuple[Misting, ...] = ()
    airborne: float = 0.04
    """Share of the mist that evaporates before it lands, as far as the air takes it."""
    opening: Opening | None = None
    exchange: float = 1.5
    """Air exchange N with the room at rest."""
    exchange_per_k: float = 0.0
    """What each kelvin above the room adds to it, as a share (buoyancy)."""
    kappa: float = 0.8
    """Mass transfer from the wet substrate, per hour of enclosure volume."""
    substrate_g: float = 150.0
    """Water that the active top layer can hold; the excess drains away."""
    dry_below: float = 0.5
    """Below this share of ``substrate_g`` the substrate evaporates less, in proportion."""
    film_kappa: float = 8.0
    """Mass transfer from wet glass and leaves, per hour."""
    film_g: float = 4.0
    """Water that glass and leaves hold; the excess drips into the substrate."""
    film_breaks_g: float = 1.0
    """Below this the film is broken and evaporates less, in proportion."""
    wall_coolness: float = 0.3
    """Where the glass lies between the air inside (0) and the room (1)."""
    transpiration: float = 0.0
    """Mass transfer from leaves while lit, per hour; the water comes from the substrate."""
    start_humidity: float = 70.0
    """%RH at the beginning."""
    start_substrate: float = 0.8
    """Share of ``substrate_g`` at the beginning."""
    built_ms: int | None = None
    """Before this it does not exist: no truth, no mist, no readings."""

    def __post_init__(self) -> None:
        names = [zone.name for zone in self.zones]
        if len(set(names)) < len(names):
            raise ValueError(f"{self.id}: zones {names} name one place twice")
        if all(name == SUBSTRATE for name in names):
            raise ValueError(f"{self.id}: zones {names} need at least one in the air")
        if self.mat is not None and self.mat.zone not in names:
            raise ValueError(f"{self.id}: mat.zone {self.mat.zone!r} must be one of {names}")


@dataclass(frozen=True, slots=True)
class ProbeModel:
    """One sensor; ``owner`` is an enclosure's id, or the room's with zone ``room``."""

    owner: str
    id: str
    zone: str
    period_s: float = 60.0
    jitter_s: float = 0.3
    """Standard deviation of the report times about their beat."""
    temperature_noise: float = 0.04
    humidity_noise: float = 0.25
    temperature_step: float = 0.1
    """Resolution."""
    humidity_step: float = 0.1
    temperature_offset: float = 0.0
    humidity_offset: float = 0.0
    humidity_gain: float = 1.0
    humidity_drift: float = 0.0
    """%RH per day."""
    temperature_lag_s: float = 60.0
    humidity_lag_s: float = 45.0
    dropout: float = 0.001
    """Share of reports that never arrive."""
    soaks: bool = True
    """Whether condensation wets the sensor, which then reads 100 until it has dried."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """A room with its enclosures, their probes and what goes wrong."""

    enclosures: tuple[EnclosureModel, ...]
    probes: tuple[ProbeModel, ...] = ()
    room: RoomModel = RoomModel()
    room_id: str = "back-room"
    timezone: str = "UTC"
    faults: tuple[Fault, ...] = ()

    def __post_init__(self) -> None:
        zones = {e.id: {zone.name for zone in e.zones} for e in self.enclosures}
        if len(zones) < len(self.enclosures) or self.room_id in zones:
            raise ValueError("room and enclosures must all have different ids")
        zones[self.room_id] = {ROOM}
        for probe in self.probes:
            if probe.zone not in zones.get(probe.owner, ()):
                raise ValueError(
                    f"probe {probe.owner}/{probe.id}: no zone {probe.zone!r} there; "
                    f"known: {zones.get(probe.owner, set(zones))}"
                )
        keys = [(probe.owner, probe.id) for probe in self.probes]
        if len(set(keys)) < len(keys):
            raise ValueError("every probe of an owner needs its own id")
        for fault in self.faults:
            fault.check(set(zones), set(keys), self.room_id)

    @property
    def clock(self) -> ZoneInfo:
        """The time zone all wall clock times are in."""
        return ZoneInfo(self.timezone)
