"""The back room of the demo: four enclosures of our own invention; one mister fails at night.

Ids, zones, periods and lights are those of the set-up beside the demo: back-room.toml.
"""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from monitor.simulation import wall_clock
from monitor.simulation.colony import ColonyModel, inspections
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
from monitor.simulation.record import Event

ROOM_ID = "back-room"
CLOCK = ZoneInfo("Europe/Lisbon")
SLATE_TRAY_DAYS = 19
FERN_DRAWER_DAYS = 9
DAY_MS = 1000 * wall_clock.DAY_S

SEED = 1
"""What the demo simulates with; another gives other weather."""

FAILS_AT = dt.time(0, 31)
"""After the misting of 00:30; the one of 02:00 does not come."""
FAILED_FOR_H = 4
"""The failure of the last night is at least this old when history ends, so that it shows."""
REPAIRED_AFTER_H = 30


ARID_BUILD = ColonyModel(food=0.5, crew=0.06)
"""Little to eat for mould, and a crew brought in early."""


@dataclass(frozen=True, slots=True)
class BackRoom:
    """The demo's scenario with what is known beside it; times are epoch milliseconds (UTC)."""

    scenario: Scenario
    start_ms: int
    end_ms: int
    failed_ms: int
    built_on: dict[str, dt.date]
    inspections: tuple[Event, ...]


def back_room(end_ms: int, days: float = 30.0) -> BackRoom:
    """The room with ``days`` of history before ``end_ms``; it can be run on beyond that."""
    start_ms = end_ms - round(days * DAY_MS)
    built_ms = {
        "slate-tray": _built_ms(end_ms, SLATE_TRAY_DAYS),
        "fern-drawer": _built_ms(end_ms, FERN_DRAWER_DAYS),
    }
    hour_ms = wall_clock.HOUR_MS
    failed_ms = wall_clock.occurrences(
        (FAILS_AT,), CLOCK, end_ms - (FAILED_FOR_H + 26) * hour_ms, end_ms - FAILED_FOR_H * hour_ms
    )[-1]
    scenario = Scenario(
        enclosures=(
            _cork_cube(),
            _river_column(),
            _slate_tray(built_ms["slate-tray"]),
            _fern_drawer(built_ms["fern-drawer"]),
        ),
        probes=_probes(),
        room=RoomModel(
            temperature=20.3,
            daily_k=0.6,
            weather_k=0.7,
            vapour_pressure=0.98,
            weather_kpa=0.07,
            heating=(
                Heating(dt.time(7), dt.time(8, 45), 1.2),
                Heating(dt.time(18, 30), dt.time(22, 30), 1.2),
            ),
        ),
        room_id=ROOM_ID,
        timezone=CLOCK.key,
        faults=(
            Fault(
                FaultKind.MISTER_FAILURE,
                failed_ms,
                failed_ms + REPAIRED_AFTER_H * hour_ms,
                owner="cork-cube",
            ),
        ),
    )
    looks = [
        *inspections("slate-tray", ARID_BUILD, CLOCK, built_ms["slate-tray"], end_ms),
        *inspections("fern-drawer", ColonyModel(), CLOCK, built_ms["fern-drawer"], end_ms),
    ]
    return BackRoom(
        scenario=scenario,
        start_ms=start_ms,
        end_ms=end_ms,
        failed_ms=failed_ms,
        built_on={
            id_: dt.datetime.fromtimestamp(at_ms / 1000, CLOCK).date()
            for id_, at_ms in built_ms.items()
        },
        inspections=tuple(sorted(looks, key=lambda event: event.at_ms)),
    )


def _built_ms(end_ms: int, days: int) -> int:
    """Four in the afternoon, that many days before the last one."""
    day = dt.datetime.fromtimestamp(end_ms / 1000, CLOCK).date() - dt.timedelta(days=days)
    return round(dt.datetime.combine(day, dt.time(16), CLOCK).timestamp() * 1000)


def _cork_cube() -> EnclosureModel:
    """90 l, planted, mesh lid: short bursts through the night, dry by day."""
    night = [(20, 0), (20, 40), (21, 30), (23, 0), (0, 30), (2, 0), (3, 30), (5, 0), (6, 30)]
    return EnclosureModel(
        id="cork-cube",
        volume_m3=0.09,
        zones=(
            ZoneModel("canopy", lamp_k=3.0, offset_k=1.0, tau_s=1500, mist_dip_k_per_g=0.06),
            ZoneModel(
                "floor",
                lamp_k=1.7,
                offset_k=0.7,
                tau_s=2400,
                near_substrate=0.2,
                mist_dip_k_per_g=0.04,
            ),
            ZoneModel("substrate", lamp_k=1.2, offset_k=0.6, tau_s=10800, near_substrate=0.85),
        ),
        misting=(Misting(tuple(dt.time(*at) for at in night), seconds=6, dose_g_per_s=0.9),),
        opening=Opening(dt.time(20, 15), minutes=4, chance=0.4),
        exchange=1.1,
        exchange_per_k=0.1,
        kappa=0.75,
        substrate_g=220,
        film_kappa=8.0,
        film_g=1.0,
        film_breaks_g=0.6,
        transpiration=0.15,
        start_humidity=65,
    )


def _river_column() -> EnclosureModel:
    """180 l, tall, mostly glass above: wet and slow."""
    return EnclosureModel(
        id="river-column",
        volume_m3=0.18,
        zones=(
            ZoneModel("canopy", lamp_k=2.6, offset_k=1.9, tau_s=1800, mist_dip_k_per_g=0.012),
            ZoneModel(
                "floor",
                lamp_k=1.4,
                offset_k=1.6,
                tau_s=3600,
                near_substrate=0.35,
                mist_dip_k_per_g=0.01,
            ),
            ZoneModel("substrate", lamp_k=0.8, offset_k=1.4, tau_s=14400, near_substrate=0.8),
        ),
        misting=(
            Misting(
                (dt.time(7, 45), dt.time(12), dt.time(16, 30), dt.time(20, 15)),
                seconds=25,
                dose_g_per_s=1.1,
            ),
        ),
        opening=Opening(dt.time(18, 45), minutes=3, chance=0.6),
        exchange=0.45,
        exchange_per_k=0.08,
        kappa=0.9,
        substrate_g=500,
        film_kappa=5.0,
        film_g=9.0,
        film_breaks_g=3.0,
        transpiration=0.25,
        start_humidity=88,
        start_substrate=0.95,
    )


def _slate_tray(built_ms: int) -> EnclosureModel:
    """80 l, arid, mat under one half: its mixed-in water dries out over the first weeks."""
    return EnclosureModel(
        id="slate-tray",
        volume_m3=0.08,
        zones=(
            ZoneModel("warm", lamp_k=1.4, mat_k=7.5, offset_k=0.6, tau_s=1500),
            ZoneModel("cool", lamp_k=1.2, mat_k=1.4, offset_k=0.5, tau_s=1800),
            ZoneModel(
                "substrate", lamp_k=0.8, mat_k=2.6, offset_k=0.3, tau_s=9000, near_substrate=0.5
            ),
        ),
        mat=HeatMat("warm", setpoint=26.0, night_setpoint=22.5),
        opening=Opening(dt.time(19, 0), minutes=5, chance=0.25),
        exchange=2.6,
        exchange_per_k=0.08,
        kappa=0.9,
        substrate_g=260,
        dry_below=0.9,
        film_kappa=2.0,
        film_g=1.0,
        wall_coolness=0.2,
        start_humidity=75,
        start_substrate=0.9,
        built_ms=built_ms,
    )


def _fern_drawer(built_ms: int) -> EnclosureModel:
    """54 l, low and wide, hardly vented; freshly planted, and no animal in it yet."""
    return EnclosureModel(
        id="fern-drawer",
        volume_m3=0.054,
        lights_on=dt.time(9),
        lights_off=dt.time(19),
        zones=(
            ZoneModel("canopy", lamp_k=2.6, offset_k=1.0, tau_s=1500, mist_dip_k_per_g=0.02),
            ZoneModel("floor", lamp_k=1.5, offset_k=0.7, tau_s=3000, near_substrate=0.4),
        ),
        misting=(Misting((dt.time(9, 30), dt.time(18, 30)), seconds=10, dose_g_per_s=1.0),),
        opening=Opening(dt.time(19, 5), minutes=6, chance=0.9),
        exchange=0.5,
        exchange_per_k=0.05,
        kappa=1.6,
        substrate_g=300,
        film_kappa=5.0,
        film_g=3.0,
        transpiration=0.1,
        start_humidity=90,
        start_substrate=1.0,
        built_ms=built_ms,
    )


def _probes() -> tuple[ProbeModel, ...]:
    return (
        ProbeModel(ROOM_ID, "air", "room", period_s=60, soaks=False),
        ProbeModel("cork-cube", "canopy", "canopy", period_s=30),
        ProbeModel("cork-cube", "floor", "floor", period_s=30, humidity_offset=0.8),
        ProbeModel("cork-cube", "substrate", "substrate", humidity_lag_s=180),
        ProbeModel("river-column", "canopy", "canopy", period_s=30, humidity_offset=-0.6),
        ProbeModel("river-column", "floor", "floor", period_s=60),
        ProbeModel("river-column", "substrate", "substrate", humidity_lag_s=180),
        ProbeModel("slate-tray", "warm", "warm", temperature_offset=0.2),
        ProbeModel("slate-tray", "cool", "cool", humidity_offset=1.1),
        ProbeModel("slate-tray", "substrate", "substrate", humidity_lag_s=240),
        ProbeModel("fern-drawer", "canopy", "canopy", humidity_offset=0.5),
        ProbeModel("fern-drawer", "floor", "floor"),
    )
