"""Numbers in, numbers out: scalars, arrays, mixtures, NaN."""

import inspect
from collections.abc import Callable
from typing import Any, assert_type

import numpy as np
import pytest

from monitor import air
from monitor.air import Floats

FUNCTIONS = [
    function
    for name in air.__all__
    if inspect.isfunction(function := getattr(air, name)) and hasattr(function, "__wrapped__")
]
SAMPLE = {
    "temperature": [21.0, 25.0, 33.0],
    "humidity": [40.0, 70.0, 95.0],
    "vapour_pressure": [0.3, 0.4, 0.5],
    "dew_point": [4.0, 12.0, 20.0],
    "leaf_temperature": [20.0, 26.0, 31.0],
    "absolute_humidity": [5.0, 10.0, 15.0],
    "mixing_ratio": [4.0, 8.0, 12.0],
    "pressure": [90.0, 95.0, 101.325],
    "u_temperature": [0.1, 0.2, 0.3],
    "u_humidity": [1.0, 2.0, 3.0],
}


def sample(function: Callable[..., Any]) -> dict[str, Floats]:
    """Three sets of arguments for a function, by the names of its parameters."""
    columns = {name: np.array(SAMPLE[name]) for name in inspect.signature(function).parameters}
    if function is air.saturation_vapour_pressure_over_ice:
        columns = {"temperature": np.array([-30.0, -10.0, -1.0])}
    return columns


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: function.__name__)
class TestEveryFunction:
    """What holds for each elementwise function of the air."""

    def test_scalars_equal_arrays(self, function: Callable[..., Any]) -> None:
        """A scalar gives a Python float, the very one that its place in an array would get.

        Frost points of dewy air are NaN in both.
        """
        columns = sample(function)

        together = function(*columns.values())
        alone = [function(*row) for row in zip(*columns.values(), strict=True)]

        assert {type(value) for value in alone} == {float}
        np.testing.assert_array_equal(together, alone)

    def test_nan_passes_silently(self, function: Callable[..., Any]) -> None:
        """NaN in any argument gives NaN there and nowhere else, without a warning."""
        for name in sample(function):
            columns = sample(function)
            clean = function(**columns)
            columns[name][1] = np.nan

            dirty = function(**columns)

            assert np.isnan(dirty[1])
            np.testing.assert_array_equal(np.delete(dirty, 1), np.delete(clean, 1))

    def test_nonsense_passes_silently(self, function: Callable[..., Any]) -> None:
        """Values no air can have give whatever they give: no exception, no warning."""
        for value in (-1e300, -1e3, -273.15, 0.0, 1e3, 1e300, np.inf, -np.inf):
            columns = {name: np.full(2, value) for name in sample(function)}

            assert function(**columns).shape == (2,)
            assert isinstance(function(*(value for _ in columns)), float)

    def test_broadcasts(self, function: Callable[..., Any]) -> None:
        """A column against rows gives a table, a column alone stays a column."""
        first, *others = sample(function).values()

        table = function(first[:, np.newaxis], *others)

        assert table.shape == ((3, 3) if others else (3, 1))

    def test_narrow_and_whole_numbers_are_widened(self, function: Callable[..., Any]) -> None:
        """float32 columns and integers are computed in float64."""
        columns = {name: np.round(column) for name, column in sample(function).items()}
        wide = function(*columns.values())

        narrow = function(*(column.astype(np.float32) for column in columns.values()))
        whole = function(*(column.astype(np.int64) for column in columns.values()))

        assert narrow.dtype == whole.dtype == np.float64
        np.testing.assert_array_equal(narrow, wide)
        np.testing.assert_array_equal(whole, wide)


def test_every_formula_is_covered() -> None:
    """The list above is complete: only the batch, the word and the data-sheet helper are plain."""
    plain = {
        name
        for name in air.__all__
        if inspect.isfunction(getattr(air, name)) and getattr(air, name) not in FUNCTIONS
    }

    assert plain == {"condensation", "derive", "standard_uncertainty"}


def test_types_follow_the_arguments() -> None:
    """The type checker knows that scalars give a float and arrays give an array."""
    column = np.array([20.0, 25.0])

    assert_type(air.dew_point(25.0, 50.0), float)
    assert_type(air.dew_point(column, 50.0), air.Floats)
    assert_type(air.dew_point(25.0, column), air.Floats)
    assert_type(air.wet_bulb(column, column, pressure=95.0), air.Floats)
    assert_type(air.saturation_slope(column), air.Floats)
