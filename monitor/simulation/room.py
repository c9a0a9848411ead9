"""The air of the room: daily course, weather, unrest, heating, and what goes wrong with it."""

from dataclasses import dataclass
from typing import Self
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from monitor.air import relative_humidity, saturation_vapour_pressure
from monitor.simulation import wall_clock
from monitor.simulation.courses import Column, Wander, follow
from monitor.simulation.faults import Fault, FaultKind, level, select
from monitor.simulation.models import RoomModel

WEATHER_S = 60 * 3600.0
UNREST_S = 3600.0
WARMEST_S = 17 * 3600.0
DAMPEST_S = 20 * 3600.0
VAPOUR_LOST_PER_K = 0.05
DRIEST_KPA = 0.15
DAMPEST_RH = 0.95


@dataclass(frozen=True, slots=True)
class RoomTruth:
    """The room's air at the end of each step: Cel, kPa, %RH."""

    temperature: Column
    vapour_pressure: Column
    humidity: Column

    def then(self, later: Self) -> Self:
        """This stretch followed by the next."""
        return type(self)(
            np.concatenate([self.temperature, later.temperature]),
            np.concatenate([self.vapour_pressure, later.vapour_pressure]),
            np.concatenate([self.humidity, later.humidity]),
        )

    def since(self, step: int) -> Self:
        """The same without the first ``step`` steps."""
        return type(self)(
            self.temperature[step:], self.vapour_pressure[step:], self.humidity[step:]
        )


NO_AIR = RoomTruth(np.empty(0), np.empty(0), np.empty(0))


class RoomAir:
    """The room as it runs on; one random course each for weather and unrest of both quantities."""

    def __init__(self, rng: np.random.Generator, step_s: float) -> None:
        self._step_s = step_s
        taus = (WEATHER_S, UNREST_S, WEATHER_S, UNREST_S)
        self._courses = [
            Wander(stream, tau, step_s) for stream, tau in zip(rng.spawn(4), taus, strict=True)
        ]
        self._heated: float | None = None
        self._dried = 0.0

    def advance(
        self,
        model: RoomModel,
        faults: tuple[Fault, ...],
        clock: ZoneInfo,
        ends_ms: NDArray[np.int64],
    ) -> RoomTruth:
        """The truth at the end of each of the next steps."""
        seconds = wall_clock.seconds_of_day(ends_ms, clock)
        starts_ms = ends_ms - round(1000 * self._step_s)
        began = wall_clock.seconds_of_day(starts_ms, clock)
        weather_k, unrest_k, weather_kpa, unrest_kpa = (
            course.advance(len(ends_ms)) for course in self._courses
        )
        extra_k = level(select(faults, FaultKind.ROOM_HEATING_DRY), starts_ms)
        lost = level(select(faults, FaultKind.ROOM_DRY_AIR), starts_ms)
        lost += VAPOUR_LOST_PER_K * extra_k

        wanted_k = extra_k.copy()
        for heating in model.heating:
            wanted_k[wall_clock.between(began, heating.on, heating.off)] += heating.gain_k
        if self._heated is None:
            self._heated = float(wanted_k[0])
        heated = follow(wanted_k, self._heated, model.inertia_s, self._step_s)
        dried = follow(lost, self._dried, model.inertia_s, self._step_s)
        self._heated, self._dried = float(heated[-1]), float(dried[-1])

        temperature = (
            model.temperature
            + model.daily_k * _wave(seconds, WARMEST_S)
            + model.weather_k * weather_k
            + model.unrest_k * unrest_k
            + heated
        )
        vapour = (
            model.vapour_pressure
            + model.daily_kpa * _wave(seconds, DAMPEST_S)
            + model.weather_kpa * weather_kpa
            + model.unrest_kpa * unrest_kpa
        ) * (1.0 - np.minimum(dried, 1.0))
        saturated = saturation_vapour_pressure(temperature)
        vapour = np.clip(vapour, DRIEST_KPA, DAMPEST_RH * saturated)
        return RoomTruth(temperature, vapour, relative_humidity(temperature, vapour))


def _wave(seconds: Column, peak_s: float) -> Column:
    return np.cos(2.0 * np.pi * (seconds - peak_s) / wall_clock.DAY_S)
