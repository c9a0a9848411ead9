"""The climate of one zone, drawn together from its probes and reduced to bins, hours and days.

Each day is taken from one probe, the one with most readings, so that two probes that disagree are
never averaged into a climate nobody measured. The days remember which it was: a probe that was
replaced by another may read a little higher without any drift being seen in it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from monitor.air import vapour_pressure
from monitor.analysis.settling.build import Bools, Floats, Ints, ProbeRecord
from monitor.analysis.settling.days import BIN_MS, HOURS, Days, divided, held
from monitor.quantities import Quantity
from monitor.species.ranges import Zone

JUDGED = (Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.VAPOUR_PRESSURE)
"""The quantities whose evenness is judged."""

HOLD_MS = 15 * 60_000
"""A reading stands for at least so long if none follows (a probe's three periods, if longer)."""

FEWEST_HOURS = 16
"""Hours without which a day has no mean. The usual course of the day fills in the others."""

PROFILE_DAYS = 60
FULL = 0.75
"""From this share of a day on, one probe's readings are as good as another's."""


@dataclass(frozen=True, slots=True)
class Daily:
    """Daily means of one quantity, NaN where there is none.

    ``source`` is the number of the probe a day was taken from. ``beside`` are the daily means of
    other things that move it, one row each: the room's temperature and vapour pressure.
    """

    value: Floats
    source: Ints
    beside: Floats


@dataclass(frozen=True, slots=True)
class Climate:
    """A zone's bins by quantity, NaN where nothing is known, and the probe each day is taken from.

    ``known`` are the bins in which it told all that it tells; ``coverage`` is their share by day.
    """

    zone: Zone
    days: Days
    bins: dict[Quantity, Floats]
    known: Bools
    source: Ints
    coverage: Floats

    def has(self, quantity: Quantity) -> bool:
        """Whether any of it is known."""
        return not bool(np.isnan(self.bins[quantity]).all())

    def hourly(self, quantity: Quantity) -> Floats:
        """Means by day and hour, shape (days, 24)."""
        return self.days.hourly(self.bins[quantity])

    def daily(self, quantity: Quantity, room: "Climate | None" = None) -> Daily:
        """Daily means, with those of the room beside them if there is one."""
        return Daily(self.means(quantity), self.source, self._beside(room))

    def means(self, quantity: Quantity) -> Floats:
        """The mean of each day, NaN where too few hours are known."""
        return daily_means(self.hourly(quantity))

    def _beside(self, room: "Climate | None") -> Floats:
        if room is None:
            return np.empty((0, len(self.days)))
        return np.array([room.means(Quantity.TEMPERATURE), room.means(Quantity.VAPOUR_PRESSURE)])


def climates(probes: Iterable[ProbeRecord], days: Days) -> dict[Zone, Climate]:
    """The climate of each zone that has a probe."""
    by_zone: dict[Zone, list[ProbeRecord]] = {}
    for probe in probes:
        by_zone.setdefault(probe.zone, []).append(probe)
    return {zone: _climate(zone, here, days) for zone, here in by_zone.items()}


def daily_means(hourly: Floats) -> Floats:
    """The mean of each day, NaN where too few hours are known, from (days, 24).

    Hours that are missing are taken to lie on the usual course of the day; otherwise a day without
    its night would come out dry and warm.
    """
    known = ~np.isnan(hourly)
    count = known.sum(axis=1)
    complete = hourly[count == HOURS][-PROFILE_DAYS:]
    fewest = HOURS
    usual = np.zeros(HOURS)
    if len(complete):
        usual = np.median(complete - complete.mean(axis=1, keepdims=True), axis=0)
        usual -= usual.mean()
        fewest = FEWEST_HOURS
    total = np.where(known, hourly - usual, 0.0).sum(axis=1)
    return divided(total, count, count >= fewest)


def _climate(zone: Zone, probes: Sequence[ProbeRecord], days: Days) -> Climate:
    columns = np.array([_columns(probe, days) for probe in probes])
    known = _known(columns)
    share = np.array([days.sums(each) for each in known]) / np.bincount(days.day)
    source = np.argmax(np.minimum(share, FULL), axis=0)
    of_bin, number = source[days.day], np.arange(len(days.day))
    temperature, humidity = columns[of_bin, :, number].T
    bins = {
        Quantity.TEMPERATURE: temperature,
        Quantity.HUMIDITY: humidity,
        Quantity.VAPOUR_PRESSURE: np.asarray(vapour_pressure(temperature, humidity)),
    }
    coverage = share[source, np.arange(len(days))]
    return Climate(zone, days, bins, known[of_bin, number], source, coverage)


def _known(columns: Floats) -> Bools:
    """Where a probe tells all that it ever tells, shape (probes, bins)."""
    there: Bools = ~np.isnan(columns)
    ever = np.any(there, axis=2, keepdims=True)
    return np.asarray(np.all(there | ~ever, axis=1) & np.any(ever, axis=1))


def _columns(probe: ProbeRecord, days: Days) -> Floats:
    """Temperature and humidity by bin, shape (2, bins)."""
    hold = int(max(HOLD_MS, 3000 * probe.period_s) // BIN_MS)
    both = (probe.temperature, probe.humidity)
    return np.array([held(days.binned(samples), hold) for samples in both])
