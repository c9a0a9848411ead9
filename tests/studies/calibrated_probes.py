"""Probes with a known error, put into boxes with imperfect salts: what a certificate is held to.

The truth is drawn from what the certificate assumes of salts and boxes (flat within their limits);
lag, noise, its correlation and the resolution are the probe's own, and the certificate is told
nothing of them.
"""

from dataclasses import dataclass

import numpy as np

from monitor.analysis.calibration import Boxed, judge_rest
from monitor.analysis.calibration.salts import fixed_point, sensitivity
from monitor.setup.calibration import CalibrationSettings, Rested, Salt
from monitor.times import HOUR_MS, MINUTE_MS

SETTINGS = CalibrationSettings()
START_MS = 1_795_600_000_000
LONGEST_H = 48


@dataclass(frozen=True, slots=True)
class Fleet:
    """What probes are like: each draws its own from these spans."""

    gain: tuple[float, float] = (0.93, 1.07)
    offset: tuple[float, float] = (-6.0, 6.0)
    box_tau_h: tuple[float, float] = (0.3, 2.5)
    slow_share: tuple[float, float] = (0.0, 0.3)
    slow_tau_h: tuple[float, float] = (2.0, 6.0)
    noise: tuple[float, float] = (0.02, 0.3)
    correlated: tuple[float, float] = (0.0, 0.25)
    correlation_h: tuple[float, float] = (0.02, 0.5)
    step: float = 0.1
    period_s: int = 60


@dataclass(frozen=True, slots=True)
class Probe:
    """raw = (truth - offset) / gain: the correction that a certificate should find."""

    gain: float
    offset: float


@dataclass(frozen=True, slots=True)
class Boxing:
    """A probe's time with one salt. ``left``: what was really still to come when it was taken."""

    rested: Rested | None
    hours: float
    left: float


def draw_probe(chance: np.random.Generator, fleet: Fleet) -> Probe:
    """Some probe."""
    return Probe(float(chance.uniform(*fleet.gain)), float(chance.uniform(*fleet.offset)))


def box(
    chance: np.random.Generator,
    fleet: Fleet,
    probe: Probe,
    salt: Salt,
    settings: CalibrationSettings = SETTINGS,
) -> Boxing:
    """Put it in, look every hour, take it out at rest (or give up)."""
    count = LONGEST_H * 3600 // fleet.period_s
    at_ms = START_MS + 1000 * fleet.period_s * np.arange(count)
    hours = (at_ms - START_MS) / HOUR_MS
    room = chance.uniform(18.0, 27.0) + 0.3 * np.sin(
        2.0 * np.pi * (hours - chance.uniform(0, 24)) / 24
    )
    thermometer = chance.uniform(-0.5, 0.5)
    reference = fixed_point(salt, float(np.clip(room.mean(), 15, 30)))
    truth = (
        reference.humidity
        + reference.limit * chance.uniform(-1.0, 1.0)
        + reference.gradient_limit(float(room.mean()), settings.apart_k) * chance.uniform(-1.0, 1.0)
        + sensitivity(salt, float(room.mean())) * (room - room.mean())
    )
    away = chance.uniform(40.0, 70.0) - truth[0]
    slow = chance.uniform(*fleet.slow_share)
    tail = away * (
        (1.0 - slow) * np.exp(-hours / chance.uniform(*fleet.box_tau_h))
        + slow * np.exp(-hours / chance.uniform(*fleet.slow_tau_h))
    )
    clean = (truth + tail - probe.offset) / probe.gain
    raw = clean + _noise(chance, fleet, count)
    raw = np.clip(np.rint(raw / fleet.step) * fleet.step, 0.0, 100.0)
    told = room + thermometer
    for hour in range(int(settings.at_least_h), LONGEST_H + 1):
        now_ms = START_MS + hour * HOUR_MS
        upto = at_ms <= now_ms
        rest = judge_rest(
            Boxed(START_MS, at_ms[upto], raw[upto], at_ms[upto], told[upto], pinned=False),
            now_ms,
            settings,
        )
        if rest.rested is not None:
            recent = upto & (at_ms > now_ms - 240 * MINUTE_MS)
            return Boxing(rest.rested, hour, float(np.mean(tail[recent])))
    return Boxing(None, LONGEST_H, float(tail[-1]))


def _noise(chance: np.random.Generator, fleet: Fleet, count: int) -> np.ndarray:
    white = chance.uniform(*fleet.noise) * chance.standard_normal(count)
    phi = np.exp(-fleet.period_s / 3600 / chance.uniform(*fleet.correlation_h))
    steps = np.sqrt(1.0 - phi**2) * chance.standard_normal(count)
    wander = np.empty(count)
    before = chance.standard_normal()
    for n, step in enumerate(steps.tolist()):
        before = phi * before + step
        wander[n] = before
    return white + chance.uniform(*fleet.correlated) * wander
