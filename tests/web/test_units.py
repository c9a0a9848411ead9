"""The viewer's units, in numbers and in sentences."""

import pytest

from monitor.quantities import Quantity
from monitor.setup.models import Span
from monitor.web.units import Pressure, Temperature, Units, fahrenheit

AMERICAN = Units(Temperature.FAHRENHEIT, Pressure.HPA)


@pytest.mark.parametrize(("celsius", "expected"), [(-40, -40), (0, 32), (37, 98.6), (100, 212)])
def test_fahrenheit(celsius: float, expected: float) -> None:
    """Fixed points that everybody knows: -40 is -40, ice melts at 32, water boils at 212."""
    assert fahrenheit(celsius) == pytest.approx(expected)


def test_numbers_carry_the_viewers_sign() -> None:
    """Pressures times ten, temperatures in °F, the rest as it is."""
    assert AMERICAN.text(Quantity.DEW_POINT, 20.0) == "68.0 °F"
    assert AMERICAN.text(Quantity.VAPOUR_PRESSURE, 2.341) == "23.4 hPa"
    assert AMERICAN.text(Quantity.HUMIDITY, 81.6) == "82 %"
    assert Units().text(Quantity.VAPOUR_PRESSURE, 2.341) == "2.34 kPa"
    assert Units().text(Quantity.TEMPERATURE, -0.04) == "0.0 °C"
    assert AMERICAN.span(Quantity.TEMPERATURE, Span(low=20, high=25)) == Span(low=68, high=77)


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("Temperature is 23.4 °C, above 23 °C.", "Temperature is 74.1 °F, above 73.4 °F."),
        ("between -5 and 20\N{EN DASH}25 °C", "between -5 and 68\N{EN DASH}77 °F"),
        ("20 to 25 °C", "68 to 77 °F"),
        ("1.5 K below the usual at 22 °C", "2.7 °F below the usual at 71.6 °F"),
        ("5 Kelvins and 40 %", "5 Kelvins and 40 %"),
    ],
)
def test_sentences_are_converted(said: str, told: str) -> None:
    """Temperatures get the offset, differences of temperatures do not."""
    assert AMERICAN.told(said) == told
    assert Units().told(said) == said
