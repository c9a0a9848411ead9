"""One enclosure as it runs on: care, heat and water joined, and each zone's air from them."""

from zoneinfo import ZoneInfo

import numpy as np

from monitor.air import relative_humidity, saturation_vapour_pressure
from monitor.simulation import care
from monitor.simulation.courses import Column
from monitor.simulation.faults import Fault, FaultKind, level, select
from monitor.simulation.heat import Heat
from monitor.simulation.models import SUBSTRATE, EnclosureModel
from monitor.simulation.moisture import (
    KELVIN,
    VAPOUR_GAS_CONSTANT,
    Forcing,
    Water,
    WaterTruth,
    vapour_density,
)
from monitor.simulation.record import EnclosureTruth, Event, Times, ZoneTruth
from monitor.simulation.room import RoomTruth


class EnclosureRun:
    """State of one enclosure; ``key`` seeds what the keeper and the nozzle do by chance."""

    def __init__(self, key: tuple[int, ...], step_ms: int) -> None:
        self._key = key
        self._step_ms = step_ms
        self._heat = Heat(step_ms / 1000)
        self._water: Water | None = None

    def advance(
        self,
        model: EnclosureModel,
        faults: tuple[Fault, ...],
        clock: ZoneInfo,
        ends_ms: Times,
        room: RoomTruth,
    ) -> tuple[EnclosureTruth, list[Event]]:
        """Truth and events of the next steps, which must all lie after it was built."""
        step_ms = self._step_ms
        lit, lamp = care.lamp_burns(model, faults, clock, ends_ms, step_ms)
        mist_g, mistings = care.mist(model, faults, clock, self._key, ends_ms, step_ms)
        opening, openings = care.opened(model, faults, clock, self._key, ends_ms, step_ms)
        stuck = select(faults, FaultKind.HEAT_MAT_STUCK_ON, model.id)
        temperatures, mat = self._heat.advance(
            model, room.temperature, lamp, lit, level(stuck, ends_ms - step_ms), mist_g
        )

        above = [course for name, course in temperatures.items() if name != SUBSTRATE]
        air: Column = np.stack(above).mean(axis=0)
        ground = temperatures.get(SUBSTRATE, air)
        wall = air + model.wall_coolness * (room.temperature - air)
        warmer = np.maximum(0.0, air - room.temperature)
        exchange = model.exchange * (1.0 + model.exchange_per_k * warmer) + opening
        saturated = vapour_density(air, saturation_vapour_pressure(air))
        forcing = Forcing(
            kelvin=air + KELVIN,
            exchange=exchange,
            outside=vapour_density(air, room.vapour_pressure),
            substrate=vapour_density(air, saturation_vapour_pressure(ground)),
            wall=np.minimum(vapour_density(air, saturation_vapour_pressure(wall)), saturated),
            saturated=saturated,
            lit=lit,
            mist_g=mist_g,
        )
        if self._water is None:
            self._water = Water(
                vapour=float(saturated[0]) * model.start_humidity / 100.0,
                film=0.0,
                substrate=model.start_substrate * model.substrate_g,
                kelvin=float(air[0]) + KELVIN,
            )
        water = self._water.advance(model, forcing, step_ms / 1000)
        zones = _zones(model, temperatures, forcing.kelvin, ground, water)
        return EnclosureTruth(zones, water, exchange, lamp, mat), mistings + openings


def _zones(
    model: EnclosureModel,
    temperatures: dict[str, Column],
    kelvin: Column,
    ground: Column,
    water: WaterTruth,
) -> dict[str, ZoneTruth]:
    """Each zone's air: the common vapour, mixed with that of the wet substrate where it is near."""
    common = water.vapour_g_m3 * VAPOUR_GAS_CONSTANT * kelvin / 1e6
    moist = np.minimum(1.0, water.substrate_g / (model.dry_below * model.substrate_g))
    pores = moist * (saturation_vapour_pressure(ground) - common)
    zones = {}
    for zone in model.zones:
        temperature = temperatures[zone.name]
        pressure = np.minimum(
            common + zone.near_substrate * pores, saturation_vapour_pressure(temperature)
        )
        humidity = np.clip(relative_humidity(temperature, pressure), 0.0, 100.0)
        zones[zone.name] = ZoneTruth(temperature, humidity)
    return zones
