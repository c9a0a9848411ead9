"""A range of temperature and one of humidity as a region of states that air can have.

In the plane of temperature and vapour pressure the region is bounded left and right by the
temperatures, below and above by curves of equal relative humidity. Bodies of air that mix share
their vapour pressure, not their relative humidity: that is why ranges are compared here.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from monitor.air import Floats, vapour_pressure
from monitor.species.ranges import Span

STEPS = 16
"""Points along each curve of an outline: enough for a smooth line."""


class Outline(NamedTuple):
    """Corners of a closed polygon: temperatures in Cel, vapour pressures in kPa."""

    temperature: Floats
    vapour_pressure: Floats


@dataclass(frozen=True, slots=True)
class Region:
    """All states of air that a range of temperature and one of humidity allow."""

    temperature: Span
    """Cel."""
    humidity: Span
    """%RH."""

    @property
    def vapour_pressure(self) -> tuple[float, float]:
        """The least vapour it allows (its coldest, driest corner) and the most, kPa."""
        return (
            vapour_pressure(self.temperature.low, self.humidity.low),
            vapour_pressure(self.temperature.high, self.humidity.high),
        )

    def outline(self, steps: int = STEPS) -> Outline:
        """The region as a polygon: along its driest curve to the warm end, back on its dampest.

        Args:
            steps: points on each of the two curves, at least 2.
        """
        there = np.linspace(self.temperature.low, self.temperature.high, steps)
        temperature = np.concatenate([there, there[::-1]])
        humidity = np.repeat([self.humidity.low, self.humidity.high], steps)
        return Outline(temperature, vapour_pressure(temperature, humidity))
