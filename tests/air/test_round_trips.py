"""Properties that hold for any air: every way to say how moist it is leads back."""

import math

from hypothesis import given
from hypothesis import strategies as st

from monitor import air

temperatures = st.floats(-40.0, 60.0)
humidities = st.floats(1.0, 100.0)
pressures = st.floats(70.0, 110.0)


@given(temperatures, humidities)
def test_through_the_vapour_pressure(temperature: float, humidity: float) -> None:
    """Humidity to vapour pressure and back, to 1e-9 of itself."""
    back = air.relative_humidity(temperature, air.vapour_pressure(temperature, humidity))

    assert math.isclose(back, humidity, rel_tol=1e-9)


@given(temperatures, humidities)
def test_through_the_dew_point(temperature: float, humidity: float) -> None:
    """Humidity to dew point and back, to 1e-7 of itself, at dew points far below 0 Cel too."""
    dew_point = air.dew_point(temperature, humidity)

    back = air.relative_humidity_from_dew_point(temperature, dew_point)

    assert math.isclose(back, humidity, rel_tol=1e-7)


@given(temperatures, humidities)
def test_through_the_absolute_humidity(temperature: float, humidity: float) -> None:
    """Humidity to grams per cubic metre and back, to 1e-9 of itself."""
    grams = air.absolute_humidity(temperature, humidity)

    back = air.relative_humidity_from_absolute_humidity(temperature, grams)

    assert math.isclose(back, humidity, rel_tol=1e-9)


@given(temperatures, humidities, pressures)
def test_through_the_mixing_ratio(temperature: float, humidity: float, pressure: float) -> None:
    """Humidity to grams per kilogram and back at any pressure, to 1e-9 of itself."""
    grams = air.mixing_ratio(temperature, humidity, pressure)

    back = air.relative_humidity_from_mixing_ratio(temperature, grams, pressure)

    assert math.isclose(back, humidity, rel_tol=1e-9)


@given(temperatures, humidities, st.floats(0.01, 10.0))
def test_moister_air_has_the_higher_dew_point_and_wet_bulb(
    temperature: float, humidity: float, more: float
) -> None:
    """At one temperature dew point and wet bulb rise with the humidity."""
    moister = humidity + more

    assert air.dew_point(temperature, moister) > air.dew_point(temperature, humidity)
    assert air.wet_bulb(temperature, moister) > air.wet_bulb(temperature, humidity)


@given(st.floats(-40.0, 59.0), humidities, st.floats(0.01, 1.0))
def test_warmer_air_at_equal_humidity_holds_more(
    temperature: float, humidity: float, more: float
) -> None:
    """At one relative humidity every measure of the water rises with the temperature."""
    warmer = temperature + more

    assert air.dew_point(warmer, humidity) > air.dew_point(temperature, humidity)
    assert air.absolute_humidity(warmer, humidity) > air.absolute_humidity(temperature, humidity)
    assert air.mixing_ratio(warmer, humidity) > air.mixing_ratio(temperature, humidity)


@given(temperatures, humidities)
def test_order_of_dew_point_wet_bulb_and_air(temperature: float, humidity: float) -> None:
    """Dew point, wet bulb and temperature stand in this order, equal at saturation."""
    dew_point = air.dew_point(temperature, humidity)
    wet_bulb = air.wet_bulb(temperature, humidity)

    assert dew_point <= wet_bulb + 1e-7
    assert wet_bulb <= temperature + 1e-7
