"""What is known of a probe, and what is advised about it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from monitor.air.moisture import vapour_pressure
from monitor.setup.calibration import Certificate
from monitor.species.ranges import Zone
from monitor.times import HOUR_MS

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


class Check(StrEnum):
    """What may be wrong with a probe."""

    DISAGREES = "disagrees"
    DRIFTS = "drifts"
    NEVER_SATURATED = "never_saturated"
    SOAKED = "soaked"
    SLOW = "slow"
    OVERDUE = "overdue"
    BATTERY = "battery"


class Confidence(StrEnum):
    """How sure an advice is."""

    POSSIBLE = "possible"
    """Worth a look; a probe in order may show the same."""
    LIKELY = "likely"
    """Something else speaks for it too."""
    CERTAIN = "certain"
    """A fact, not a conclusion."""


@dataclass(frozen=True, slots=True)
class Advice:
    """Something to do about a probe: maintenance, never a climate alarm.

    ``figures``: what it rests on, each with its unit in the name.
    """

    check: Check
    confidence: Confidence
    figures: Mapping[str, float]
    says: str
    do: str


@dataclass(frozen=True, slots=True)
class Misting:
    """When water was sprayed; ``exact`` if a mister said so, not someone's memory."""

    at_ms: int
    exact: bool


@dataclass(frozen=True, slots=True)
class Past:
    """A probe's believed readings of the last four weeks where it gave both, in order of time.

    ``temperature`` in Cel, ``humidity`` in %RH, corrected. ``certificate``: the one in force.
    ``battery``: the charge it last reported, %, None if it reports none.
    """

    probe: str
    zone: Zone
    period_s: float
    at_ms: Ints
    temperature: Floats
    humidity: Floats
    mistings: Sequence[Misting] = ()
    certificate: Certificate | None = None
    battery: float | None = None

    def since(self, start_ms: int) -> "Past":
        """The part from a time on."""
        first = int(np.searchsorted(self.at_ms, start_ms))
        return replace(
            self,
            at_ms=self.at_ms[first:],
            temperature=self.temperature[first:],
            humidity=self.humidity[first:],
        )

    def hours(self) -> tuple[Ints, Floats, Floats]:
        """Number of the hour since 1970, mean ln e (e in kPa) and mean humidity of each hour.

        Probes are compared by the water in their air: two probes at different temperatures read
        different humidities in the same air.
        """
        usable = self.humidity > 0.0
        hour = self.at_ms[usable] // HOUR_MS
        log_e = np.log(vapour_pressure(self.temperature[usable], self.humidity[usable]))
        number, place, count = np.unique(hour, return_inverse=True, return_counts=True)
        return (
            number,
            np.bincount(place, weights=log_e) / count,
            np.bincount(place, weights=self.humidity[usable]) / count,
        )


@dataclass(frozen=True, slots=True)
class Trust:
    """A probe with what is advised about it. ``uncertainty`` is half a 95 % interval, %RH."""

    probe: str
    zone: Zone
    uncertainty: float
    certificate: Certificate | None
    advice: Sequence[Advice] = field(default_factory=tuple)

    @property
    def says(self) -> str:
        """One sentence for all of it."""
        if not self.advice:
            return f"Nothing speaks against it; believe it to ±{self.uncertainty:.1f} %RH."
        return " ".join(each.says for each in self.advice)
