"""Time per point for dew point, vapour pressure deficit and wet bulb: ours and general libraries'.

    python -m tests.benchmarks.bench_air [--points 100000] [--repeats 7]

All work on the same arrays, drawn over 5 to 45 Cel and 20 to 100 %RH, each called the way a user
would call it: MetPy with units on its arrays, CoolProp on arrays, PsychroLib one point at a time
(it has no array form unless numba is installed). What needs more than a few microseconds a point
gets the first points only; the cost of a point does not depend on their number there. Every round
runs all competitors once, so that a busy machine slows all alike; the figure is the median round.
"""

import argparse
import importlib.metadata
import importlib.util
import os
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from typing import NamedTuple

import metpy.calc
import numpy as np
import psychrolib
from CoolProp.CoolProp import PropsSI
from CoolProp.HumidAirProp import HAPropsSI
from metpy.units import units

from monitor import air
from monitor.air import Floats

PRESSURE_PA = 101325.0
QUANTITIES = ("dew point", "VPD", "wet bulb")
LIBRARIES = ("PsychroLib", "MetPy", "CoolProp")
FIRST = {"PsychroLib": 2_000, "CoolProp": 1_000, "MetPy wet bulb": 200}

Compute = Callable[[Floats, Floats], object]


class Competitor(NamedTuple):
    """One way to compute a quantity, over the first ``points`` of the arrays."""

    quantity: str
    library: str
    compute: Compute
    points: int


def each(function: Callable[[float, float], float], t: Floats, rh: Floats) -> list[float]:
    """A scalar function, point by point."""
    return [function(x, y / 100.0) for x, y in zip(t.tolist(), rh.tolist(), strict=True)]


def psychrolib_wet_bulb(t: float, rh: float) -> float:
    """PsychroLib's wet bulb at sea level."""
    wet_bulb: float = psychrolib.GetTWetBulbFromRelHum(t, rh, PRESSURE_PA)
    return wet_bulb


def psychrolib_deficit(t: float, rh: float) -> float:
    """PsychroLib's vapour pressure deficit of unsaturated air."""
    deficit: float = psychrolib.GetSatVapPres(t) - psychrolib.GetVapPresFromRelHum(t, rh)
    return deficit


def metpy_dew_point(t: Floats, rh: Floats) -> object:
    """MetPy's dew point, units attached."""
    return metpy.calc.dewpoint_from_relative_humidity(
        units.Quantity(t, "degC"), units.Quantity(rh, "percent")
    )


def metpy_deficit(t: Floats, rh: Floats) -> object:
    """The deficit from MetPy's saturation pressure, units attached."""
    saturated = metpy.calc.saturation_vapor_pressure(units.Quantity(t, "degC"))
    return saturated * (1.0 - units.Quantity(rh, "percent").to("dimensionless"))


def metpy_wet_bulb(t: Floats, rh: Floats) -> object:
    """MetPy's wet bulb, units attached."""
    return metpy.calc.wet_bulb_temperature(
        units.Quantity(np.full_like(t, PRESSURE_PA), "Pa"),
        units.Quantity(t, "degC"),
        metpy_dew_point(t, rh),
    )


def coolprop_moist(output: str, t: Floats, rh: Floats) -> object:
    """A property of CoolProp's moist air at sea level."""
    return HAPropsSI(output, "T", t + 273.15, "P", PRESSURE_PA, "R", rh / 100.0)


def coolprop_deficit(t: Floats, rh: Floats) -> object:
    """The deficit from CoolProp's saturation pressure of water."""
    return PropsSI("P", "T", t + 273.15, "Q", 0, "Water") * (1.0 - rh / 100.0)


COMPUTE: dict[str, tuple[Compute, Compute, Compute]] = {
    "dewkeep": (air.dew_point, air.vapour_pressure_deficit, air.wet_bulb),
    "PsychroLib": (
        partial(each, psychrolib.GetTDewPointFromRelHum),
        partial(each, psychrolib_deficit),
        partial(each, psychrolib_wet_bulb),
    ),
    "MetPy": (metpy_dew_point, metpy_deficit, metpy_wet_bulb),
    "CoolProp": (partial(coolprop_moist, "Tdp"), coolprop_deficit, partial(coolprop_moist, "B")),
}


def competitors(points: int) -> list[Competitor]:
    """All of them, slow ones with fewer points."""
    found = []
    for library, computes in COMPUTE.items():
        for quantity, compute in zip(QUANTITIES, computes, strict=True):
            limit = FIRST.get(library, FIRST.get(f"{library} {quantity}", points))
            found.append(Competitor(quantity, library, compute, min(points, limit)))
    found.append(Competitor("all five (derive)", "dewkeep", air.derive, points))
    return found


def measure(points: int, repeats: int) -> dict[tuple[str, str], float]:
    """Median nanoseconds per point, by quantity and library."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    random = np.random.default_rng(1)
    t, rh = random.uniform(5.0, 45.0, points), random.uniform(20.0, 100.0, points)
    field = competitors(points)
    rounds: dict[tuple[str, str], list[float]] = {(one.quantity, one.library): [] for one in field}
    for repeat in range(repeats + 1):
        for one in field:
            start = time.perf_counter_ns()
            one.compute(t[: one.points], rh[: one.points])
            spent = (time.perf_counter_ns() - start) / one.points
            if repeat:  # the first round warms up
                rounds[one.quantity, one.library].append(spent)
    return {key: statistics.median(spent) for key, spent in rounds.items()}


def report(cost: dict[tuple[str, str], float]) -> str:
    """A Markdown table: nanoseconds per point, and how many times ours."""
    lines = [
        "| ns per point | dewkeep | " + " | ".join(LIBRARIES) + " |",
        "|---|---:|" + "---:|" * len(LIBRARIES),
    ]
    for quantity in QUANTITIES:
        ours = cost[quantity, "dewkeep"]
        cells = [f"{ours:,.0f}"]
        for library in LIBRARIES:
            theirs = cost[quantity, library]
            cells.append(f"{theirs:,.0f} ({theirs / ours:,.1f} x)")
        lines.append(f"| {quantity} | " + " | ".join(cells) + " |")
    derive = cost["all five (derive)", "dewkeep"]
    lines.append(f"| all five derived at once | {derive:,.0f} |" + " |" * len(LIBRARIES))
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--points", type=int, default=100_000)
    parser.add_argument("--repeats", type=int, default=7)
    options = parser.parse_args()
    numba = "with" if importlib.util.find_spec("numba") else "without"
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in LIBRARIES)
    sys.stdout.write(
        f"{options.points:,} points, median of {options.repeats}; {versions}; {numba} numba; "
        f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}\n\n"
        f"{report(measure(options.points, options.repeats))}\n"
    )


if __name__ == "__main__":
    main()
