"""The humidity above saturated salt solutions.

L. Greenspan, "Humidity fixed points of binary saturated aqueous solutions", J. Res. NBS
81A(1):89-96 (1977). The polynomials were read in a second hand, not in the paper; the linear term
of potassium carbonate and its limit are from memory.
"""

from typing import NamedTuple

from monitor.air.saturation import saturation_slope, saturation_vapour_pressure
from monitor.setup.calibration import Salt

COLDEST, WARMEST = 15.0, 30.0
"""Cel. Within these the values were checked against the printed table."""


class _Solution(NamedTuple):
    """Coefficients of the polynomial in the temperature (Cel), and how far it may be off, %RH."""

    polynomial: tuple[float, ...]
    limit: float


_SOLUTIONS = {
    Salt.LITHIUM_CHLORIDE: _Solution((11.2323, 0.00824245, -0.214890e-3), 0.6),
    Salt.MAGNESIUM_CHLORIDE: _Solution((33.6686, -0.00797397, -0.108988e-2), 0.4),
    Salt.POTASSIUM_CARBONATE: _Solution((43.1315, 0.00147523), 0.6),
    Salt.SODIUM_CHLORIDE: _Solution((75.5164, 0.0398321, -0.265459e-2, 0.2848e-4), 0.4),
    Salt.POTASSIUM_CHLORIDE: _Solution((88.6190, -0.193340, 0.899706e-3), 0.6),
    Salt.POTASSIUM_SULFATE: _Solution((98.7792, -0.0590502), 1.1),
}
"""Limits: bounds for 0 to 50 Cel, wider than the table's own uncertainties from 15 to 30 Cel, which
nobody here has read in print."""


class FixedPoint(NamedTuple):
    """A reference: the humidity, %RH, and how far the solution itself may be off, %RH."""

    humidity: float
    limit: float

    def gradient_limit(self, temperature: float, apart_k: float) -> float:
        """%RH that the probe's air may be off when it is warmer or cooler than the salt.

        The vapour pressure is the salt's, the relative humidity is that at the probe's temperature.
        """
        steepness = saturation_slope(temperature) / saturation_vapour_pressure(temperature)
        return float(self.humidity * steepness * apart_k)


def fixed_point(salt: Salt, temperature: float) -> FixedPoint:
    """The humidity above a saturated solution at a temperature (Cel, 15 to 30).

    Raises:
        ValueError: the temperature lies outside.
    """
    if not COLDEST <= temperature <= WARMEST:
        raise ValueError(
            f"{temperature:.1f} Cel: fixed points are known from {COLDEST:g} to {WARMEST:g} Cel"
        )
    polynomial, limit = _SOLUTIONS[salt]
    value = 0.0
    for coefficient in reversed(polynomial):
        value = value * temperature + coefficient
    return FixedPoint(value, limit)


def sensitivity(salt: Salt, temperature: float) -> float:
    """How the fixed point changes with temperature, %RH per K."""
    polynomial = _SOLUTIONS[salt].polynomial
    return sum(
        power * coefficient * temperature ** (power - 1)
        for power, coefficient in enumerate(polynomial)
        if power
    )
