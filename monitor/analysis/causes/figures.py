"""The numbers behind a cause, in units a keeper knows."""

from dataclasses import dataclass
from math import exp, isfinite

import numpy as np

from monitor.air import (
    dew_point,
    dew_point_from_vapour_pressure,
    relative_humidity,
    saturation_vapour_pressure,
    vapour_pressure,
)
from monitor.analysis.causes.custom import Custom
from monitor.analysis.causes.departure import BIN_MS, RECENT, RUN_UP, run_up_start
from monitor.analysis.causes.evidence import Evidence, Figure, Side
from monitor.analysis.causes.parts import Parts
from monitor.analysis.causes.rules import confirms
from monitor.analysis.courses import History, on_grid
from monitor.times import MINUTE_MS


@dataclass(frozen=True, slots=True)
class Findings:
    """What was found; departures are against the usual at this hour, changes over the run-up."""

    humidity: float
    usual_humidity: float
    dew_point_departure: float
    temperature_departure: float
    run_up_min: float
    dew_point_change: float
    temperature_change: float
    room_water_percent: float | None
    room_temperature_departure: float | None
    probes: int
    probes_agree: int
    days: int
    days_crossed: int
    mistings_missed: int | None

    def figures(self) -> tuple[Figure, ...]:
        """Name, value and unit of each; what is not known is left out."""
        rows: tuple[tuple[str, float | None, str], ...] = (
            ("humidity", self.humidity, "%RH"),
            ("usual_humidity", self.usual_humidity, "%RH"),
            ("dew_point_departure", self.dew_point_departure, "K"),
            ("temperature_departure", self.temperature_departure, "K"),
            ("run_up", self.run_up_min, "min"),
            ("dew_point_change", self.dew_point_change, "K"),
            ("temperature_change", self.temperature_change, "K"),
            ("room_vapour_pressure_departure", self.room_water_percent, "%"),
            ("room_temperature_departure", self.room_temperature_departure, "K"),
            ("other_probes", self.probes, "1"),
            ("other_probes_agree", self.probes_agree, "1"),
            ("days_compared", self.days, "1"),
            ("days_crossed", self.days_crossed, "1"),
            ("mistings_missed", self.mistings_missed, "1"),
        )
        return tuple(
            Figure(name, round(value, 2), unit)
            for name, value, unit in rows
            if value is not None and isfinite(value)
        )


def find(evidence: Evidence, parts: Parts, usage: Custom, missed: int | None) -> Findings:
    """Turn the parts back from logarithms into K, %RH and %."""
    towards = 1.0 if evidence.side is Side.LOW else -1.0
    start_ms = run_up_start(evidence)
    before_t, before_h = _air(evidence.target, start_ms)
    temperature, humidity = _air(evidence.target, evidence.now_ms)
    usual_e = vapour_pressure(temperature, humidity) * exp(towards * parts.vapour)
    usual_t = temperature - _kelvin(temperature, towards * parts.saturation)
    room_water = room_k = None
    if evidence.room is not None and parts.room is not None:
        room_t, _ = _air(evidence.room, evidence.now_ms)
        room_water = 100.0 * (exp(-towards * parts.room.vapour) - 1.0)
        room_k = _kelvin(room_t, towards * parts.room.saturation)
    return Findings(
        humidity=humidity,
        usual_humidity=min(100.0, relative_humidity(usual_t, usual_e)),
        dew_point_departure=dew_point(temperature, humidity)
        - dew_point_from_vapour_pressure(usual_e),
        temperature_departure=temperature - usual_t,
        run_up_min=(evidence.now_ms - start_ms) / MINUTE_MS,
        dew_point_change=dew_point(temperature, humidity) - dew_point(before_t, before_h),
        temperature_change=temperature - before_t,
        room_water_percent=room_water,
        room_temperature_departure=room_k,
        probes=len(parts.peers),
        probes_agree=sum(confirms(peer, parts) for peer in parts.peers),
        days=usage.days,
        days_crossed=usage.crossed,
        mistings_missed=missed,
    )


def _air(history: History, at_ms: int) -> tuple[float, float]:
    """Mean temperature and humidity of the ten minutes before."""
    columns = (history.temperature, history.humidity)
    temperature, humidity = (
        float(np.mean(on_grid(history.at_ms, column, at_ms, BIN_MS, RUN_UP)[-RECENT:]))
        for column in columns
    )
    return temperature, humidity


def _kelvin(temperature: float, log_saturation: float) -> float:
    """The rise of temperature, ending here, that raised ln e_s so much."""
    earlier = saturation_vapour_pressure(temperature) * exp(-log_saturation)
    return temperature - dew_point_from_vapour_pressure(earlier)
