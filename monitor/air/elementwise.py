"""How every function of the air takes numbers: scalars in, ``float`` out; arrays in, array out."""

from collections.abc import Callable
from functools import wraps
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Values = float | Floats


def elementwise(function: Callable[..., Floats]) -> Callable[..., Any]:
    """Let a formula written for float64 arrays take scalars, arrays and mixtures that broadcast.

    NaN in gives NaN out, and so does a value the formula has no answer for: silently, since one
    odd reading must not disturb the thousands that arrive with it.
    """

    @wraps(function)
    def on_values(*args: Values, **kwargs: Values) -> Values:
        columns = [np.asarray(value, dtype=np.float64) for value in args]
        named = {name: np.asarray(value, dtype=np.float64) for name, value in kwargs.items()}
        with np.errstate(all="ignore"):
            result = function(*columns, **named)
        return float(result) if np.ndim(result) == 0 else result

    return on_values
