"""A probe between the truth and its reports: lag, error, drift, noise, soaking, gaps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.simulation.courses import Column, follow
from monitor.simulation.faults import Fault, FaultKind, select
from monitor.simulation.models import ProbeModel
from monitor.simulation.record import Readings, Times, ZoneTruth

SOAKED_FROM_RH = 99.0
SOAKED_FOR_MS = 12 * 60_000
JITTER_LIMIT = 0.4
HOUR_MS = 3_600_000
DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class _Beats:
    """Reports that are due: when, three normal deviates each (time, Cel, %RH), luck in 0..1."""

    at_ms: Times
    chance: NDArray[np.float64]
    luck: Column


NO_READINGS = Readings(np.empty(0, np.int64), np.empty(0), np.empty(0))


class Sensor:
    """One probe as it runs on. The first report comes at random within the first period."""

    def __init__(self, rng: np.random.Generator, start_ms: int, step_ms: int) -> None:
        self._chance, self._luck = rng.spawn(2)
        self._start_ms = start_ms
        self._step_ms = step_ms
        self._phase = float(self._luck.random())
        self._drawn = 0
        self._waiting = _Beats(np.empty(0, np.int64), np.empty((0, 3)), np.empty(0))
        self._lagged: tuple[float, float] | None = None
        self._soaked_ms = start_ms - SOAKED_FOR_MS
        self._last: tuple[float, float] | None = None

    def advance(
        self, model: ProbeModel, faults: tuple[Fault, ...], ends_ms: Times, truth: ZoneTruth
    ) -> Readings:
        """The reports sent during the next steps."""
        beats = self._due(model, int(ends_ms[-1]))
        temperature, humidity = self._feel(model, ends_ms, truth, beats.at_ms)
        soaked = self._soaked(humidity, beats.at_ms)
        days = (beats.at_ms - self._start_ms) / DAY_MS
        humidity = (
            model.humidity_gain * humidity
            + model.humidity_offset
            + model.humidity_drift * days
            + _lie(model, faults, beats.at_ms)
        )
        if model.soaks:
            humidity = np.where(soaked, 100.0, humidity)
        temperature = temperature + model.temperature_offset
        temperature = temperature + model.temperature_noise * beats.chance[:, 1]
        humidity = humidity + model.humidity_noise * beats.chance[:, 2]
        humidity = np.clip(_rounded(humidity, model.humidity_step), 0.0, 100.0)
        temperature = _rounded(temperature, model.temperature_step)

        sent = (beats.luck >= model.dropout) & ~_present(
            model, faults, FaultKind.PROBE_UNPLUGGED, beats.at_ms
        )
        stuck = _present(model, faults, FaultKind.PROBE_STUCK, beats.at_ms)
        told = self._repeat(np.column_stack([temperature, humidity]), stuck)
        return Readings(beats.at_ms[sent], told[sent, 0], told[sent, 1])

    def _due(self, model: ProbeModel, now_ms: int) -> _Beats:
        """Reports up to now. Each beat's chances are drawn once, in order, however time is cut."""
        period_ms = 1000 * model.period_s
        limit_ms = JITTER_LIMIT * period_ms
        first_ms = self._start_ms + self._phase * period_ms
        beyond = max(self._drawn, int((now_ms + limit_ms - first_ms) // period_ms) + 1)
        chance = self._chance.standard_normal((beyond - self._drawn, 3))
        jitter = np.clip(1000 * model.jitter_s * chance[:, 0], -limit_ms, limit_ms)
        at_ms = np.rint(first_ms + np.arange(self._drawn, beyond) * period_ms + jitter)
        luck = self._luck.random(beyond - self._drawn)
        self._drawn = beyond
        at_ms = np.concatenate([self._waiting.at_ms, at_ms.astype(np.int64)])
        chance = np.concatenate([self._waiting.chance, chance])
        luck = np.concatenate([self._waiting.luck, luck])
        due = at_ms <= now_ms
        self._waiting = _Beats(at_ms[~due], chance[~due], luck[~due])
        return _Beats(at_ms[due], chance[due], luck[due])

    def _feel(
        self, model: ProbeModel, ends_ms: Times, truth: ZoneTruth, at_ms: Times
    ) -> tuple[Column, Column]:
        """Lagged truth at the report times, straight between the ends of steps."""
        if self._lagged is None:
            self._lagged = (float(truth.temperature[0]), float(truth.humidity[0]))
        times = np.concatenate([[ends_ms[0] - self._step_ms], ends_ms])
        step_s = self._step_ms / 1000
        felt = []
        now = []
        for column, before, lag_s in (
            (truth.temperature, self._lagged[0], model.temperature_lag_s),
            (truth.humidity, self._lagged[1], model.humidity_lag_s),
        ):
            lagged = follow(column, before, lag_s, step_s)
            felt.append(np.interp(at_ms, times, np.concatenate([[before], lagged])))
            now.append(float(lagged[-1]))
        self._lagged = (now[0], now[1])
        return felt[0], felt[1]

    def _soaked(self, humidity: Column, at_ms: Times) -> NDArray[np.bool_]:
        """Where condensation sits on the sensor: from saturation until it has had time to dry."""
        wet_ms = np.where(humidity >= SOAKED_FROM_RH, at_ms, self._soaked_ms)
        last_ms = np.maximum.accumulate(np.concatenate([[self._soaked_ms], wet_ms]))[1:]
        if len(last_ms):
            self._soaked_ms = int(last_ms[-1])
        return np.asarray(at_ms - last_ms < SOAKED_FOR_MS)

    def _repeat(self, told: NDArray[np.float64], stuck: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Replace what is told while stuck by what was told last before."""
        if not len(told):
            return told
        before = told[0] if self._last is None else np.array(self._last)
        rows = np.concatenate([before[np.newaxis], told])
        source = np.where(stuck, 0, np.arange(1, len(rows)))
        told = rows[np.maximum.accumulate(source)]
        self._last = (float(told[-1, 0]), float(told[-1, 1]))
        return told


def _lie(model: ProbeModel, faults: tuple[Fault, ...], at_ms: Times) -> Column:
    """%RH that faults add to what the probe says."""
    added = np.zeros(len(at_ms))
    for fault in select(faults, FaultKind.PROBE_DRIFT, model.owner, model.id):
        hours = (at_ms - fault.start_ms) / HOUR_MS
        added += np.where(fault.at(at_ms), fault.amount * hours, 0.0)
    for fault in select(faults, FaultKind.PROBE_JUMP, model.owner, model.id):
        added += np.where(fault.at(at_ms), fault.amount, 0.0)
    return added


def _present(
    model: ProbeModel, faults: tuple[Fault, ...], kind: FaultKind, at_ms: Times
) -> NDArray[np.bool_]:
    present = np.zeros(len(at_ms), np.bool_)
    for fault in select(faults, kind, model.owner, model.id):
        present |= fault.at(at_ms)
    return present


def _rounded(values: Column, step: float) -> Column:
    """To the resolution, as the decimal number a probe would print (no binary dust)."""
    return np.round(np.rint(values / step) * step, 6) if step > 0 else values
