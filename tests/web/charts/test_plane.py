"""The psychrometric plane, checked against PsychroLib (2.5, SI units)."""

from dataclasses import replace

import numpy as np
import psychrolib
import pytest

from monitor.setup.models import Spans
from monitor.times import HOUR_MS
from monitor.web.charts.plane import BOTTOM, HEIGHT, LEFT, TOP, Plane, Walk, plane
from monitor.web.units import Pressure, Temperature, Units

psychrolib.SetUnitSystem(psychrolib.SI)

DAY = Spans.model_validate({"temperature": [20, 26], "humidity": [50, 80]})
NIGHT = Spans.model_validate({"temperature": [16, 22], "humidity": [70, 95]})


def walk(temperature: list[float], humidity: list[float], lit: list[bool]) -> Walk:
    """An hourly walk; its vapour pressures are PsychroLib's."""
    pressure = [
        psychrolib.GetVapPresFromRelHum(t, h / 100) / 1000
        for t, h in zip(temperature, humidity, strict=True)
    ]
    at_ms = HOUR_MS * np.arange(len(temperature))
    return Walk(at_ms, np.array(temperature), np.array(pressure), np.array(lit), ((0, "00:00"),))


def drawn(units: Units | None = None) -> Plane:
    """From a moist evening through a drying night to the morning."""
    shown = plane(
        walk([24, 20, 18, 21], [70, 80, 60, 50], [True, False, False, True]),
        DAY,
        NIGHT,
        units or Units(),
    )
    assert shown is not None
    return shown


def back(shown: Plane, x: float, y: float) -> tuple[float, float]:
    """Temperature and vapour pressure of a point, by the ticks of the axes."""
    values = []
    for at, ticks in ((x, shown.temperatures), (y, shown.pressures)):
        places = [tick.at for tick in ticks]
        numbers = [float(tick.says) for tick in ticks]
        slope, start = np.polyfit(places, numbers, 1)
        values.append(float(slope * at + start))
    return values[0], values[1]


def points(line: str) -> list[tuple[float, float]]:
    """The points of a line in drawing units."""
    return [(float(x), float(y)) for x, y in (point.split(",") for point in line.split())]


def test_curves_are_air_of_one_humidity() -> None:
    """Along every curve PsychroLib finds the humidity that stands beside it, within 0.5 %RH."""
    shown = drawn()
    for curve in shown.curves:
        for x, y in points(curve.points):
            temperature, pressure = back(shown, x, y)
            found = 100 * psychrolib.GetRelHumFromVapPres(temperature, 1000 * pressure)
            assert found == pytest.approx(curve.humidity, abs=0.5)
            assert TOP - 1 <= y <= HEIGHT - BOTTOM + 1
            assert x >= LEFT - 1


def test_regions_have_the_corners_of_their_ranges() -> None:
    """20 °C at 50 % and 26 °C at 80 % are corners of the day, as PsychroLib has them."""
    shown = drawn()
    day = next(region for region in shown.regions if region.day)
    corners = [back(shown, *point) for point in points(day.points)]
    for temperature, humidity in ((20, 50), (26, 80)):
        pressure = psychrolib.GetVapPresFromRelHum(temperature, humidity / 100) / 1000
        assert any(
            t == pytest.approx(temperature, abs=0.05) and e == pytest.approx(pressure, abs=0.01)
            for t, e in corners
        )


def test_the_path_goes_where_the_air_went() -> None:
    """Three stretches by light, joined; the leaf is at the last."""
    shown = drawn()
    assert [lit for lit, _ in shown.path] == [True, False, True]
    ends = [points(line) for _, line in shown.path]
    assert ends[0][-1] == ends[1][0]
    assert ends[1][-1] == ends[2][0]
    assert shown.now is not None
    assert back(shown, shown.now.x, shown.now.y)[0] == pytest.approx(21.0, abs=0.05)
    assert [stop.says for stop in shown.stops] == ["00:00"]


def test_hours_at_one_place_are_named_once() -> None:
    """Air that hardly moves has every hour marked, and one name that can be read."""
    still = walk([20, 20.01, 20.02, 26], [50, 50, 50, 80], [True] * 4)
    hours = tuple((at, f"{hour:02}:00") for hour, at in enumerate(still.at_ms.tolist()))
    shown = plane(replace(still, hours=hours), DAY, None, Units())
    assert shown is not None
    assert [stop.says for stop in shown.stops] == ["00:00", "", "", "03:00"]
    assert len({(stop.x, stop.y) for stop in shown.stops}) == 4


def test_axes_are_the_viewers() -> None:
    """In °F and hPa the drawing is the same, its ticks are not."""
    ours, theirs = drawn(), drawn(Units(Temperature.FAHRENHEIT, Pressure.HPA))
    assert ours.path == theirs.path
    assert (theirs.temperature_sign, theirs.pressure_sign) == ("°F", "hPa")
    assert ours.now is not None
    temperature, pressure = back(ours, ours.now.x, ours.now.y)
    fahrenheit, hectopascal = back(theirs, ours.now.x, ours.now.y)
    assert fahrenheit == pytest.approx(1.8 * temperature + 32, abs=0.1)
    assert hectopascal == pytest.approx(10 * pressure, abs=0.1)


def test_without_ranges_and_readings_there_is_no_plane() -> None:
    """Nothing to draw is not drawn; either alone is."""
    empty = walk([], [], [])
    assert plane(empty, None, None, Units()) is None
    assert plane(empty, DAY, None, Units()) is not None
    assert plane(walk([20], [50], [True]), None, Spans(), Units()) is not None
