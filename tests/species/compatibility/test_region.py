"""Ranges as regions in the plane of temperature and vapour pressure, checked with CoolProp."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from monitor.air import relative_humidity
from monitor.species.compatibility import Region
from monitor.species.ranges import Span

REGION = Region(Span(low=22, high=26), Span(low=50, high=70))


def spans(low: float, high: float) -> st.SearchStrategy[Span]:
    """Any span within limits, at least 0.1 wide."""
    edges = st.tuples(st.floats(low, high - 0.1), st.floats(0.1, high - low))
    return edges.map(lambda pair: Span(low=pair[0], high=min(pair[0] + pair[1], high)))


def test_the_corners_are_those_of_steam_tables() -> None:
    """The least vapour is in the cold dry corner, the most in the warm damp one (IAPWS-95)."""
    corners = [
        0.5 * PropsSI("P", "T", 295.15, "Q", 1, "Water"),
        0.7 * PropsSI("P", "T", 299.15, "Q", 1, "Water"),
    ]

    assert [1000 * edge for edge in REGION.vapour_pressure] == pytest.approx(corners, rel=1e-4)


def test_the_outline_goes_round_once() -> None:
    """Along the driest curve to the warm end and back on the dampest, ready to be drawn."""
    outline = REGION.outline(steps=5)

    assert outline.temperature.tolist() == [22, 23, 24, 25, 26, 26, 25, 24, 23, 22]
    humidity = relative_humidity(outline.temperature, outline.vapour_pressure)
    assert humidity == pytest.approx([50] * 5 + [70] * 5)


@given(temperature=spans(5, 45), humidity=spans(1, 100), at=st.floats(0, 1), moist=st.floats(0, 1))
def test_every_allowed_state_lies_within(
    temperature: Span, humidity: Span, at: float, moist: float
) -> None:
    """Any state of both ranges has a vapour pressure between the region's least and most."""
    region = Region(temperature, humidity)
    outline = region.outline()
    least, most = region.vapour_pressure
    here = temperature.low + at * (temperature.high - temperature.low)
    wet = humidity.low + moist * (humidity.high - humidity.low)
    held = PropsSI("P", "T", here + 273.15, "Q", 1, "Water") * wet / 100 / 1000

    assert least * (1 - 1e-4) <= held <= most * (1 + 1e-4)
    assert (np.min(outline.vapour_pressure), np.max(outline.vapour_pressure)) == pytest.approx(
        (least, most)
    )
