"""Has a probe come to rest in the salt box?

A probe that changes slowly looks still. What is asked is therefore not whether it moves, but how
much is still to come: the readings are taken for an end value plus an exponential whose time
constant nobody knows, under noise whose correlation nobody knows. The probe is at rest when what
the last hours differ from that end value is very likely within a limit, as seen three hours in a
row (once would find it at rest by luck, the more often one looks).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from monitor.analysis.settling.regression import Estimate, estimate
from monitor.setup.calibration import CalibrationSettings, Rested
from monitor.times import HOUR_MS, MINUTE_MS, duration

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

BIN_MS = 10 * MINUTE_MS
PER_HOUR = HOUR_MS // BIN_MS
LEAST_LOOK = 8 * PER_HOUR
LONGEST_LOOK = 24 * PER_HOUR
"""Means of ten minutes that the end value is sought from, at least and at most."""
FIRST = 6 * PER_HOUR
"""Left out as soon as there are enough others: at first more than one exponential runs."""
TAKEN = 4 * PER_HOUR
"""The last of them, whose mean is the reading."""
LOOKS_AT = (0, PER_HOUR, 2 * PER_HOUR)
"""The looks that must agree: now, and so many bins ago."""
TAUS = np.array([0.5, 1.0, 2.0, 4.0, 8.0]) * PER_HOUR
"""Time constants that the approach may have, in bins: half an hour to eight hours."""
FEWEST_SHARE = 0.8
"""Share of the bins that must hold a reading."""
FLOOR = 0.03
"""Standard deviation that a mean of ten minutes has at least, %RH: small sensors resolve 0.1."""
RISK = 0.025
"""To either side."""
TWO_SIDED = 1.96
"""Half a 95 % interval in standard deviations."""


@dataclass(frozen=True, slots=True)
class Boxed:
    """What a probe gave since it went into the box: raw humidity, %RH, and temperature, Cel.

    ``pinned``: whether some humidity stood at an end of the scale, where nobody knows what was
    cut off.
    """

    since_ms: int
    humidity_ms: Ints
    humidity: Floats
    temperature_ms: Ints
    temperature: Floats
    pinned: bool


@dataclass(frozen=True, slots=True)
class Rest:
    """How far it has come; ``rested`` only when it is at rest."""

    says: str
    rested: Rested | None = None
    last: float | None = None
    """Mean raw humidity of the last ten minutes with readings, %RH."""
    to_come: tuple[float, float] | None = None
    """What very likely is still to come, %RH."""


def judge_rest(boxed: Boxed, now_ms: int, settings: CalibrationSettings) -> Rest:
    """Whether the probe is at rest as of a time, and in one sentence why not."""
    if not len(boxed.humidity):
        return Rest("Nothing has been heard from the probe since it went into the box.")
    humidity = _binned(boxed.humidity_ms, boxed.humidity, boxed.since_ms, now_ms)
    last = float(humidity[np.flatnonzero(~np.isnan(humidity))[-1]]) if _any(humidity) else None
    if boxed.pinned:
        return Rest(
            "The probe reads 0 or 100 %RH, the end of its scale: nobody knows what was cut off. "
            "Let it dry, or take another salt.",
            last=last,
        )
    temperature = _binned(boxed.temperature_ms, boxed.temperature, boxed.since_ms, now_ms)
    excess = [_excess(humidity[: len(humidity) - ago]) for ago in LOOKS_AT]
    now = excess[0]
    to_come = None if now is None else _ends(now)
    in_box_ms = now_ms - boxed.since_ms
    says = (
        _too_early(in_box_ms, settings)
        or _gaps(humidity, temperature)
        or _unsteady(temperature[-TAKEN:], settings)
    )
    if not says and (now is None or to_come is None):
        says = "Too few readings of the last ten hours to tell whether it is at rest."
    if says or now is None or to_come is None:
        return Rest(says, last=last, to_come=to_come)
    if not all(each and each.is_within(settings.rest_within_pct, RISK) for each in excess):
        low, high = to_come
        return Rest(
            f"Not at rest yet: very likely between {low:+.2f} and {high:+.2f} %RH are still to "
            f"come; no more than {settings.rest_within_pct:g} may be, three hours in a row.",
            last=last,
            to_come=to_come,
        )
    rested = _rested(humidity[-TAKEN:], temperature[-TAKEN:], now, boxed, now_ms)
    return Rest(
        f"At rest at {rested.reading:.2f} %RH and {rested.temperature:.1f} °C.",
        rested,
        last,
        to_come,
    )


def _too_early(in_box_ms: int, settings: CalibrationSettings) -> str:
    needed_ms = round(settings.at_least_h * HOUR_MS)
    if in_box_ms >= needed_ms:
        return ""
    return (
        f"In the box for {duration(in_box_ms)}; salt and air need {settings.at_least_h:g} h at "
        f"least, {duration(needed_ms - in_box_ms)} more."
    )


def _gaps(humidity: Floats, temperature: Floats) -> str:
    for name, column in (("humidity", humidity), ("temperature", temperature)):
        missing = np.isnan(column[-LEAST_LOOK:]).sum()
        if missing > (1.0 - FEWEST_SHARE) * LEAST_LOOK:
            return (
                f"Too few readings of its {name}: nothing in {duration(int(missing) * BIN_MS)} of "
                f"the last {duration(LEAST_LOOK * BIN_MS)}."
            )
    return ""


def _unsteady(temperature: Floats, settings: CalibrationSettings) -> str:
    spread = float(np.nanmax(temperature) - np.nanmin(temperature))
    if spread <= settings.steady_within_k:
        return ""
    return (
        f"The box is not steady: its temperature varied by {spread:.1f} K over the last "
        f"{duration(TAKEN * BIN_MS)}; no more than {settings.steady_within_k:g} K may be."
    )


def _rested(
    humidity: Floats, temperature: Floats, excess: Estimate, boxed: Boxed, now_ms: int
) -> Rested:
    """The mean of the last hours; what may still be to come counts as uncertainty."""
    there = np.flatnonzero(~np.isnan(humidity))
    level = np.ones((1, len(there)))
    mean = estimate(there.astype(np.float64), humidity[there], level[:0], level, FLOOR)
    assert mean is not None  # noqa: S101 - enough of the bins are there
    low, high = mean.interval(RISK)
    noise = (high - low) / (2.0 * TWO_SIDED)
    lower, upper = excess.interval(RISK)
    tail = max(abs(lower), abs(upper)) / TWO_SIDED
    return Rested(
        reading=mean.value,
        u_reading=float(np.hypot(noise, tail)),
        temperature=float(np.nanmean(temperature)),
        count=int(np.sum(boxed.humidity_ms > now_ms - TAKEN * BIN_MS)),
    )


def _excess(humidity: Floats) -> Estimate | None:
    """How far the mean of the last hours lies above the value that is approached, %RH."""
    count = min(max(len(humidity) - FIRST, LEAST_LOOK), LONGEST_LOOK)
    window = humidity[-count:]
    there = np.flatnonzero(~np.isnan(window))
    if len(window) < count or len(there) < FEWEST_SHARE * count:
        return None
    ago = np.arange(count)[::-1]
    forms = np.exp(ago / TAUS[:, np.newaxis])
    forms /= forms[:, -TAKEN:].mean(axis=1, keepdims=True)
    level = np.ones((1, len(there)))
    return estimate(there.astype(np.float64), window[there], level, forms[:, there], FLOOR)


def _ends(excess: Estimate) -> tuple[float, float]:
    low, high = excess.interval(RISK)
    return -high, -low


def _binned(at_ms: Ints, value: Floats, since_ms: int, now_ms: int) -> Floats:
    """Means of ten minutes, the last one ending now; NaN where nothing came."""
    count = max((now_ms - since_ms) // BIN_MS, 1)
    place = count - 1 - (now_ms - at_ms) // BIN_MS
    inside = (place >= 0) & (place < count)
    place = place[inside]
    number = np.bincount(place, minlength=count)
    total = np.bincount(place, weights=value[inside], minlength=count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _any(column: Floats) -> bool:
    return bool(np.any(~np.isnan(column)))
