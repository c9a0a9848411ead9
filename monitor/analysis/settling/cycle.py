"""The criterion of the daily cycle: each day's curve repeats that of the day before."""

from typing import NamedTuple

import numpy as np

from monitor.analysis.settling.build import Bools, Floats
from monitor.analysis.settling.climate import Climate
from monitor.analysis.settling.criteria import Criterion, Name
from monitor.analysis.settling.days import HOURS
from monitor.analysis.settling.trailing import Trailing
from monitor.analysis.settling.wording import WORDS, difference
from monitor.quantities import Quantity, unit_of
from monitor.species.settling import SettlingLimits

FEWEST_HOURS = 18
"""Hours of both days that must be known to compare them."""


class Swing(NamedTuple):
    """The first harmonic of a day: half its swing, and the hour at which it is highest."""

    amplitude: float
    peak_h: float


def daily_cycle(climate: Climate, quantity: Quantity, limits: SettlingLimits) -> Criterion:
    """Whether a quantity goes through the day as it did the day before."""
    hourly = climate.hourly(quantity)
    limit, unit = limits.cycle(quantity), difference(quantity)
    trailing = Trailing(
        departures(hourly, climate.days.usual),
        limits.recent_days,
        lambda days: float(np.median(days)),
        lambda departure: departure <= limit,
    )
    return trailing.criterion(
        Name.DAILY_CYCLE,
        climate.zone,
        quantity,
        unit_of(quantity),
        required=f"one day's curve within {limit:g} {unit} of the next (root mean square)",
        says=lambda departure: (
            f"{WORDS[quantity]} {_swing_says(hourly[-limits.recent_days :], unit)}; one day's "
            f"curve departs from the next by {departure:.1f} {unit}"
        ),
        days=climate.days,
        limits=limits,
    )


def departures(hourly: Floats, usual: Bools) -> Floats:
    """How far each day's curve departs from that of the day before (root mean square).

    Each curve is taken about its own mean, and the difference of two equally uncertain curves is
    divided by sqrt(2). NaN for days of 23 and 25 hours and those after them: the lamp's timer moves
    with the wall clock there, the sun does not.
    """
    known = ~np.isnan(hourly)
    both = known[1:] & known[:-1]
    count = both.sum(axis=1)
    step = np.where(both, hourly[1:] - hourly[:-1], 0.0)
    fair = (count >= FEWEST_HOURS) & usual[1:] & usual[:-1]
    number = np.maximum(count, 1)
    mean = step.sum(axis=1) / number
    variance = np.maximum((step**2).sum(axis=1) / number - mean**2, 0.0)
    later = np.where(fair, np.sqrt(0.5 * variance), np.nan)
    return np.concatenate([np.full(min(1, len(hourly)), np.nan), later])


def harmonic(hour: Floats, value: Floats) -> Swing:
    """The swing of 24 hours in values at hours, by least squares on a mean, cosine and sine."""
    angle = 2.0 * np.pi * hour / HOURS
    design = np.column_stack([np.ones_like(angle), np.cos(angle), np.sin(angle)])
    _, cosine, sine = np.linalg.lstsq(design, value, rcond=None)[0]
    peak = np.arctan2(sine, cosine) * HOURS / (2.0 * np.pi) % HOURS
    return Swing(float(np.hypot(cosine, sine)), float(peak))


def _swing_says(hourly: Floats, unit: str) -> str:
    known = ~np.isnan(hourly)
    middles = np.broadcast_to(np.arange(HOURS) + 0.5, hourly.shape)
    swing = harmonic(middles[known], hourly[known])
    hour, minute = divmod(round(60 * swing.peak_h) % (60 * HOURS), 60)
    return f"swings by ±{swing.amplitude:.1f} {unit} and is highest about {hour:02d}:{minute:02d}"
