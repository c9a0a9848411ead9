"""The psychrometric plane: temperature against vapour pressure, with curves of relative humidity.

Air that warms without gaining or losing water moves straight to the right; air that gains water
moves up. So the path of a day shows what the humidity alone hides.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from monitor.air import saturation_vapour_pressure, vapour_pressure
from monitor.quantities import Quantity
from monitor.setup.models import Spans
from monitor.store.readings import Flags, Floats, Ints
from monitor.web.charts.scale import Scale, Tick, linear, round_numbers, widened
from monitor.web.units import Units

WIDTH, HEIGHT = 420.0, 330.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 34.0, 12.0, 34.0
CURVES = (20, 40, 60, 80, 100)
"""Relative humidities that are drawn, %RH."""
_STEPS = 48
_TITLE = 150.0
"""How far the name of the upright axis reaches."""
_NAME = (42.0, 14.0)
"""The room that the name of an hour takes, on a phone, where it is largest."""
_LEAST_K, _LEAST_KPA = 6.0, 0.6


@dataclass(frozen=True, slots=True)
class Curve:
    """All air of one relative humidity; its name stands where it leaves the plane.

    ``named`` is False where the name of the axis stands already.
    """

    humidity: int
    points: str
    x: float
    y: float
    named: bool


@dataclass(frozen=True, slots=True)
class Region:
    """Where the air should be, by day or by night."""

    day: bool
    points: str


@dataclass(frozen=True, slots=True)
class Stop:
    """Where the air was at an hour of the path; ``says`` nothing where a name stands already."""

    x: float
    y: float
    says: str


@dataclass(frozen=True, slots=True)
class Plane:
    """What is drawn, in drawing units; ``path`` has a line for each stretch of one light."""

    curves: tuple[Curve, ...]
    regions: tuple[Region, ...]
    path: tuple[tuple[bool, str], ...]
    stops: tuple[Stop, ...]
    now: Stop | None
    temperatures: tuple[Tick, ...]
    pressures: tuple[Tick, ...]
    temperature_sign: str
    pressure_sign: str


@dataclass(frozen=True, slots=True)
class Walk:
    """Where the air went: temperature (°C) and vapour pressure (kPa) at times, and the light."""

    at_ms: Ints
    temperature: Floats
    pressure: Floats
    day: Flags
    hours: tuple[tuple[int, str], ...]
    """Times to name on the path."""


def plane(walk: Walk, day: Spans | None, night: Spans | None, units: Units) -> Plane | None:
    """Draw a walk among the ranges of day and night; None if there is nothing to draw."""
    outlines = [(lit, _outline(spans)) for lit, spans in ((True, day), (False, night)) if spans]
    regions = [(lit, outline) for lit, outline in outlines if outline is not None]
    temperature = np.concatenate([walk.temperature, *(outline[0] for _, outline in regions)])
    pressure = np.concatenate([walk.pressure, *(outline[1] for _, outline in regions)])
    if not len(temperature):
        return None
    t_low, t_high = widened(float(temperature.min()), float(temperature.max()), _LEAST_K)
    e_low, e_high = widened(float(pressure.min()), float(pressure.max()), _LEAST_KPA)
    e_low = max(e_low, 0.0)
    x = linear(t_low, t_high, LEFT, WIDTH - RIGHT)
    y = linear(e_low, e_high, HEIGHT - BOTTOM, TOP)
    stops = tuple(_stops(walk, x, y))
    return Plane(
        curves=tuple(_curves((t_low, t_high), (e_low, e_high), x, y)),
        regions=tuple(Region(lit, _line(*outline, x, y)) for lit, outline in regions),
        path=tuple(_path(walk, x, y)),
        stops=stops,
        now=Stop(x(float(walk.temperature[-1])), y(float(walk.pressure[-1])), "")
        if len(walk.at_ms)
        else None,
        temperatures=_ticks(Quantity.TEMPERATURE, (t_low, t_high), x, units, 5),
        pressures=_ticks(Quantity.VAPOUR_PRESSURE, (e_low, e_high), y, units, 5),
        temperature_sign=units.sign(Quantity.TEMPERATURE),
        pressure_sign=units.sign(Quantity.VAPOUR_PRESSURE),
    )


def _outline(spans: Spans) -> tuple[Floats, Floats] | None:
    """Around the region: along its lowest humidity, and back along its highest."""
    if spans.temperature is None or spans.humidity is None:
        return None
    there = np.linspace(spans.temperature.low, spans.temperature.high, _STEPS)
    temperature = np.concatenate((there, there[::-1]))
    humidity = np.repeat([spans.humidity.low, spans.humidity.high], _STEPS)
    return temperature, vapour_pressure(temperature, humidity)


def _line(temperature: Floats, pressure: Floats, x: Scale, y: Scale) -> str:
    return " ".join(
        f"{x(t):g},{y(e):g}" for t, e in zip(temperature.tolist(), pressure.tolist(), strict=True)
    )


def _curves(
    temperatures: tuple[float, float], pressures: tuple[float, float], x: Scale, y: Scale
) -> list[Curve]:
    temperature = np.linspace(*temperatures, _STEPS)
    saturated = saturation_vapour_pressure(temperature)
    curves = []
    for humidity in CURVES:
        pressure = saturated * humidity / 100
        inside = (pressure >= pressures[0]) & (pressure <= pressures[1])
        if np.count_nonzero(inside) > 1:
            end = np.flatnonzero(inside)[-1]
            across, down = x(float(temperature[end])), y(float(pressure[end]))
            line = _line(temperature[inside], pressure[inside], x, y)
            curves.append(Curve(humidity, line, across, down, across > _TITLE or down > 2 * TOP))
    return curves


def _path(walk: Walk, x: Scale, y: Scale) -> list[tuple[bool, str]]:
    """Stretches of one light; each begins where the one before it ends."""
    breaks = [0, *(np.flatnonzero(np.diff(walk.day)) + 1).tolist(), len(walk.day)]
    stretches = []
    for first, last in pairwise(breaks):
        if last > first:
            since = max(first - 1, 0)
            line = _line(walk.temperature[since:last], walk.pressure[since:last], x, y)
            stretches.append((bool(walk.day[first]), line))
    return stretches


def _stops(walk: Walk, x: Scale, y: Scale) -> list[Stop]:
    stops: list[Stop] = []
    for at_ms, says in walk.hours:
        if len(walk.at_ms) and walk.at_ms[0] <= at_ms <= walk.at_ms[-1]:
            across = x(float(np.interp(at_ms, walk.at_ms, walk.temperature)))
            down = y(float(np.interp(at_ms, walk.at_ms, walk.pressure)))
            crowded = any(
                stop.says and abs(stop.x - across) < _NAME[0] and abs(stop.y - down) < _NAME[1]
                for stop in stops
            )
            stops.append(Stop(across, down, "" if crowded else says))
    return stops


def _ticks(
    quantity: Quantity, span: tuple[float, float], place: Scale, units: Units, about: int
) -> tuple[Tick, ...]:
    """Round numbers in the viewer's unit, at their place in drawing units."""
    convert = units.of(quantity)
    zero, one = convert(0.0), convert(1.0)
    return tuple(
        Tick(place((value - zero) / (one - zero)), f"{value:g}")
        for value in round_numbers(convert(span[0]), convert(span[1]), about)
    )
