"""Mould pressure: the index of Hukka and Viitanen 1999, as an aside.

A. Hukka and H. A. Viitanen, Wood Sci. Technol. 33:475-485 (1999), doi 10.1007/s002260050131; the
equations from public implementations of it and from memory, not from the paper itself. It tells how
fast mould would grow on pine sapwood under a climate. It knows no grazing crew and no food that is
used up: in warm moist air it rises and stays, while a real bloom comes and goes. So it ranks risk
and times the onset, and never says that a bloom is over.
"""

from math import exp

import numpy as np

from monitor.analysis.settling.build import Bools, Floats

HOURS_A_WEEK = 168.0

DECLINE_EARLY = -0.032 / 24.0
"""Per hour, in the first six hours too dry or too cold for growth."""
DECLINE_LATE = -0.016 / 24.0
"""Per hour, after a day of that; in between the index stands still."""


def critical_humidity(temperature: Floats) -> Floats:
    """The relative humidity from which mould grows, %RH, at Cel."""
    polynomial = ((-0.00267 * temperature + 0.160) * temperature - 3.13) * temperature + 100.0
    return np.where(temperature <= 20.0, polynomial, 80.0)


def grows(temperature: Floats, humidity: Floats) -> Bools:
    """Where mould can grow at all (Cel, %RH)."""
    warm = (temperature > 0.0) & (temperature < 50.0)
    return np.asarray(warm & (humidity >= critical_humidity(temperature)))


def weeks_to_start(temperature: Floats, humidity: Floats) -> Floats:
    """Weeks in a steady climate until growth starts (index 1): pine, resawn after drying."""
    return np.exp(-0.68 * np.log(temperature) - 13.9 * np.log(humidity) + 66.02)


def weeks_to_show(temperature: Floats, humidity: Floats) -> Floats:
    """Weeks in a steady climate until mould can be seen (index 3): pine."""
    return np.exp(-0.74 * np.log(temperature) - 12.72 * np.log(humidity) + 61.50)


def highest_index(temperature: Floats, humidity: Floats) -> Floats:
    """The index that mould reaches in the end in a steady climate."""
    critical = critical_humidity(temperature)
    excess = (critical - humidity) / (critical - 100.0)
    return 1.0 + 7.0 * excess - 2.0 * excess**2


def mould_index(temperature: Floats, humidity: Floats) -> Floats:
    """The index after each hour of a climate given by the hour (Cel, %RH), from 0 on.

    0: none; 1: growth starts, seen under a microscope only; 3: seen by eye; 6: all over. It stands
    still where nothing is known (NaN).
    """
    known = ~np.isnan(temperature + humidity)
    growing = known & grows(temperature, humidity)
    at, wet = temperature[growing], humidity[growing]
    start, show = weeks_to_start(at, wet), weeks_to_show(at, wet)
    early, late, top = (np.zeros(len(known)) for _ in range(3))
    early[growing] = 1.0 / (HOURS_A_WEEK * start)
    late[growing] = 2.0 / (HOURS_A_WEEK * start * (show / start - 1.0))
    top[growing] = highest_index(at, wet)

    # This loop runs once for every hour of a build's life: plain floats are fastest.
    index = 0.0
    unfavourable_h = 0
    told = np.empty(len(known))
    hours = zip(*(each.tolist() for each in (known, growing, early, late, top)), strict=True)
    for number, (is_known, is_growing, slow, fast, highest) in enumerate(hours):
        if is_growing:
            unfavourable_h = 0
            held_back = 1.0 - exp(2.3 * (index - highest)) if index < highest else 0.0
            index += (slow if index < 1.0 else fast) * held_back
        elif is_known:
            if unfavourable_h < 6:
                index += DECLINE_EARLY
            elif unfavourable_h >= 24:
                index += DECLINE_LATE
            index = max(index, 0.0)
            unfavourable_h += 1
        told[number] = index
    return told
