"""How much water a misting brings into the air: measured at every misting, summed up robustly."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.analysis.misting.climate import Column, Grid
from monitor.analysis.misting.detection import Rise
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


class _Jump(NamedTuple):
    """What the air gained at one moment beyond the balance, g/m3 (negative: lost).

    ``later`` is what it gained from a film while it was kept saturated.
    """

    at_once: float
    later: float


def doses(
    grid: Grid, seen: Observed, fit: Fit, content: Column, slow: Column, mistings: Sequence[Misting]
) -> list[Dose]:
    """What each misting added, where that can be measured (see ``_jumps``)."""
    found = _jumps(grid, seen, fit, content, slow, [each.at_ms for each in mistings])
    return [
        Dose(misting, jump.at_once, jump.later)
        for misting, jump in zip(mistings, found, strict=True)
        if jump is not None
    ]


def lost(
    grid: Grid,
    seen: Observed,
    fit: Fit,
    content: Column,
    slow: Column,
    mistings: Sequence[Misting],
    losses: Sequence[Rise],
) -> Column:
    """What went out at once in each bin, g/m3: with lids that were opened.

    Only what the balance does not expect: the sudden end of a saturated hour is no loss.
    """
    gone = np.zeros(len(grid))
    moments = [loss.at_ms for loss in losses] + [misting.at_ms for misting in mistings]
    found = _jumps(grid, seen, fit, content, slow, moments)
    for loss, jump in zip(losses, found, strict=False):
        if jump is not None and jump.at_once < 0.0:
            gone[grid.bin_of(loss.at_ms)] -= jump.at_once
    return gone


def _jumps(
    grid: Grid, seen: Observed, fit: Fit, content: Column, slow: Column, at_ms: Sequence[int]
) -> list[_Jump | None]:
    """How the content jumped at each of some moments; None where that is not known well enough.

    Args:
        grid: even means of the record.
        seen: the same as the filter took it.
        fit: the balance.
        content: v given the whole record (``state_space.smoothed``).
        slow: u likewise.
        at_ms: of mistings and lids; those that share their stretch with another one are left out.
    """
    move = motion(seen, fit.rates, fit.coefficients)
    drive = move.drive + move.gain * slow
    asymptote = seen.drivers @ fit.coefficients[1:] + slow
    rate = np.where(seen.lit, fit.rates.day[0], fit.rates.night[0])
    wet = seen.content >= SATURATED * seen.saturated
    longest = round(LONGEST_H / seen.step_h)
    bins = np.array([grid.bin_of(moment_ms) for moment_ms in at_ms])
    valid = np.flatnonzero(seen.valid)
    found: list[_Jump | None] = []
    for moment_ms, at in zip(at_ms, bins.tolist(), strict=True):
        found.append(None)
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
            found[-1] = _Jump(up, max(0.0, float(pull)))
        else:
            into_bin = (moment_ms - grid.start_ms) / grid.step_ms - at
            faded = np.prod(move.decay[at + 1 : after + 1]) * move.decay[at] ** (0.5 - into_bin)
            found[-1] = _Jump(float((content[after] - without[-1]) / faded), 0.0)
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
