"""The combined columns of the ingest path."""

from typing import Any

import numpy as np

from monitor import air
from monitor.quantities import DERIVED_UNITS


def test_columns_equal_the_single_functions(grid: Any) -> None:
    """Each column is what its own function gives, to rounding."""
    t, rh = grid.temperature, grid.humidity

    derived = air.derive(t, rh, pressure=95.0)

    np.testing.assert_allclose(derived.vapour_pressure, air.vapour_pressure(t, rh), rtol=1e-14)
    np.testing.assert_allclose(derived.dew_point, air.dew_point(t, rh), rtol=0, atol=1e-9)
    np.testing.assert_allclose(
        derived.vapour_pressure_deficit, air.vapour_pressure_deficit(t, rh), rtol=0, atol=1e-13
    )
    np.testing.assert_allclose(derived.absolute_humidity, air.absolute_humidity(t, rh), rtol=1e-14)
    np.testing.assert_allclose(derived.mixing_ratio, air.mixing_ratio(t, rh, 95.0), rtol=1e-14)


def test_fields_are_the_derived_quantities() -> None:
    """Every derived quantity has its column, under its own name."""
    assert set(air.Derived._fields) == {quantity.value for quantity in DERIVED_UNITS}


def test_one_odd_reading_does_not_disturb_the_batch() -> None:
    """NaN stays NaN, 0 %RH has no dew point, nonsense passes: no warning, neighbours untouched."""
    temperature = np.array([25.0, np.nan, 25.0, 1e300, -500.0, np.inf, 25.0])
    humidity = np.array([50.0, 50.0, 0.0, 50.0, 50.0, 50.0, np.nan])

    derived = air.derive(temperature, humidity)

    alone = air.derive(np.array([25.0]), np.array([50.0]))
    assert [column[0] for column in derived] == [column[0] for column in alone]
    assert all(np.isnan(column[[1, 6]]).all() for column in derived)
    assert np.isnan(derived.dew_point[2])
    assert derived.vapour_pressure[2] == derived.mixing_ratio[2] == 0.0
    assert derived.vapour_pressure_deficit[2] == air.saturation_vapour_pressure(25.0)


def test_shape_is_kept() -> None:
    """Columns come back in the shape they came in, an empty one too."""
    for shape in ((0,), (3,), (2, 5)):
        derived = air.derive(np.full(shape, 25.0), np.full(shape, 50.0))

        assert {column.shape for column in derived} == {shape}
