"""How much water a misting brings into the air: measured at every misting, summed up robustly."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from monitor.analysis.misting.climate import Column, Grid
from monitor.analysis.misting.fit import CONFIDENCE_Z, FILM_FLOOR, Fit
from monitor.analysis.misting.mistings import Misting
from monitor.analysis.misting.state_space import Observed, motion

LONGEST_H = 1.5
"""How long before and after a misting the content may have been unknown."""
SATURATED = 0.97
WATER_FLOOR = 0.03
"""Least relative standard error of what a second brings: a dose is reckoned back to its moment."""
FEWEST = 3
"""Mistings of known length that it takes."""


@dataclass(frozen=True, slots=True)
class Dose:
    """What one misting added, g/m3: ``at_once``, and ``later`` from a film on surfaces."""

    misting: Misting
    at_once: float
    later: float

    @property
    def added(self) -> float:
        """g/m3 in all."""
        return self.at_once + self.later


@dataclass(frozen=True, slots=True)
class Water:
    """What each second of misting brings, g/m3, with its 90 % interval and how it scatters.

    ``scatter`` is the relative standard deviation from one misting to the next.
    """

    at_once: float
    on_film: float
    low: float
    high: float
    scatter: float
    counted: int

    @property
    def per_s(self) -> float:
        """g/m3 for each second, sooner or later."""
        return self.at_once + self.on_film


def doses(
    grid: Grid, seen: Observed, fit: Fit, content: Column, slow: Column, mistings: Sequence[Misting]
) -> list[Dose]:
    """What each misting added, where the air before and after is known well enough.

    Args:
        grid: even means of the record.
        seen: the same as the filter took it.
        fit: the balance.
        content: v given the whole record (``state_space.smoothed``).
        slow: u likewise.
        mistings: to measure; those that share their stretch with another one are left out.
    """
    move = motion(seen, fit.rates, fit.coefficients)
    drive = move.drive + move.gain * slow
    asymptote = seen.drivers @ fit.coefficients[1:] + slow
    rate = np.where(seen.lit, fit.rates.day[0], fit.rates.night[0])
    wet = seen.content >= SATURATED * seen.saturated
    longest = round(LONGEST_H / seen.step_h)
    bins = np.array([grid.bin_of(misting.at_ms) for misting in mistings])
    valid = np.flatnonzero(seen.valid)
    found = []
    for misting, at in zip(mistings, bins.tolist(), strict=True):
        place = int(np.searchsorted(valid, at))
        if not 0 < place < len(valid):
            continue
        before, after = int(valid[place - 1]), int(valid[place])
        alone = np.sum((bins > before) & (bins <= after)) == 1
        kept = wet[at:after]
        if not alone or at - before > longest or (after - at > longest and not kept.any()):
            continue
        left = content[before]
        without = [left := move.decay[k] * left + drive[k] for k in range(before + 1, after + 1)]
        if kept.any():
            up = max(0.0, float(seen.saturated[at] - without[at - before - 1]))
            pull = (rate * (seen.saturated - asymptote))[at:after][kept].sum() * seen.step_h
            found.append(Dose(misting, up, max(0.0, float(pull))))
        else:
            into_bin = (misting.at_ms - grid.start_ms) / grid.step_ms - at
            faded = np.prod(move.decay[at + 1 : after + 1]) * move.decay[at] ** (0.5 - into_bin)
            found.append(Dose(misting, float((content[after] - without[-1]) / faded), 0.0))
    return found


def per_second(measured: Sequence[Dose], fit: Fit) -> Water | None:
    """What each second brings, by the doses of mistings whose length is known; None: too few.

    The weighted median, so that a clogged or a mistaken misting does not count for more than one.
    """
    known = [dose for dose in measured if dose.misting.seconds]
    if len(known) < FEWEST:
        return None
    seconds = np.array([dose.misting.seconds for dose in known], dtype=np.float64)
    ratio = np.array([dose.added for dose in known]) / seconds
    order = np.argsort(ratio)
    weight = np.cumsum(seconds[order])
    middle = float(ratio[order][np.searchsorted(weight, 0.5 * weight[-1])])
    on_film = float(fit.rates.film_per_s[0])
    spread = 1.4826 * float(np.median(np.abs(ratio - middle)))
    error = CONFIDENCE_Z * 1.2533 * spread / np.sqrt(len(known))
    whole = max(0.0, middle) + on_film
    film_error = FILM_FLOOR * CONFIDENCE_Z * on_film
    bias = WATER_FLOOR * CONFIDENCE_Z * whole
    reach = float(np.sqrt(error**2 + film_error**2 + bias**2))
    return Water(
        at_once=max(0.0, middle),
        on_film=on_film,
        low=max(0.0, whole - reach),
        high=whole + reach,
        scatter=min(1.0, spread / whole) if whole > 0.0 else 1.0,
        counted=len(known),
    )
