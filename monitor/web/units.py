"""The units a viewer reads in: °C or °F, kPa or hPa. Inside, everything stays °C and kPa."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from monitor.quantities import Quantity, unit_of
from monitor.setup.models import Span


class Temperature(StrEnum):
    """A scale of temperature."""

    CELSIUS = "C"
    FAHRENHEIT = "F"


class Pressure(StrEnum):
    """A unit of pressure."""

    KPA = "kPa"
    HPA = "hPa"


_SIGNS = {"%RH": "%", "%": "%", "lx": "lx", "g/m3": "g/m³", "g/kg": "g/kg"}
_DIGITS = {"°C": 1, "°F": 1, "kPa": 2, "hPa": 1, "g/m³": 1, "g/kg": 1}
"""Digits after the point by sign; else none."""

_NUMBER = r"-?\d+(?:\.\d+)?"
_CELSIUS = re.compile(rf"({_NUMBER})(?:(\N{{EN DASH}}| to )({_NUMBER}))? °C")
_KELVIN = re.compile(rf"({_NUMBER}) K\b")


@dataclass(frozen=True, slots=True)
class Units:
    """What one viewer reads in."""

    temperature: Temperature = Temperature.CELSIUS
    pressure: Pressure = Pressure.KPA

    def sign(self, quantity: Quantity) -> str:
        """The sign that stands behind a number."""
        unit = unit_of(quantity)
        if unit == "Cel":
            return f"°{self.temperature}"
        return self.pressure.value if unit == "kPa" else _SIGNS[unit]

    def digits(self, quantity: Quantity) -> int:
        """How many digits after the point a number is shown with."""
        return _DIGITS.get(self.sign(quantity), 0)

    def of(self, quantity: Quantity) -> Callable[[float], float]:
        """Turns a stored number into the viewer's."""
        unit = unit_of(quantity)
        if unit == "Cel" and self.temperature is Temperature.FAHRENHEIT:
            return fahrenheit
        if unit == "kPa" and self.pressure is Pressure.HPA:
            return lambda value: 10 * value
        return lambda value: value

    def span(self, quantity: Quantity, span: Span) -> Span:
        """A range in the viewer's unit."""
        return _span(self, quantity, span)

    def text(self, quantity: Quantity, value: float) -> str:
        """A stored number as the viewer reads it, with its sign."""
        return f"{self.number(quantity, value)} {self.sign(quantity)}"

    def number(self, quantity: Quantity, value: float) -> str:
        """A stored number as the viewer reads it."""
        digits = self.digits(quantity)
        return f"{round(self.of(quantity)(value), digits) + 0.0:.{digits}f}"

    def told(self, sentence: str) -> str:
        """A sentence of ours with its temperatures, and differences of them (K), converted."""
        if self.temperature is Temperature.CELSIUS:
            return sentence
        sentence = _CELSIUS.sub(_in_fahrenheit, sentence)
        return _KELVIN.sub(lambda found: f"{_tenths(1.8 * float(found[1]))} °F", sentence)


@lru_cache(maxsize=4096)
def _span(units: Units, quantity: Quantity, span: Span) -> Span:
    convert = units.of(quantity)
    return Span(low=round(convert(span.low), 4), high=round(convert(span.high), 4))


def fahrenheit(celsius: float) -> float:
    """°C as °F: 1.8 °F to a kelvin, 32 °F where ice melts (NIST SP 811, B.8)."""
    return 1.8 * celsius + 32


def _in_fahrenheit(found: "re.Match[str]") -> str:
    first, between, second = found.groups()
    told = _tenths(fahrenheit(float(first)))
    if second is not None:
        told += between + _tenths(fahrenheit(float(second)))
    return f"{told} °F"


def _tenths(value: float) -> str:
    return f"{round(value, 1) + 0.0:g}"
