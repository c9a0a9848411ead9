"""The tail of Student's t."""

import numpy as np
import pytest
from scipy import stats

from monitor.analysis.settling.student import upper_tail


@pytest.mark.parametrize("df", [1, 2, 3, 6, 19, 20, 57, 120])
def test_tails_are_those_of_scipy(df: int) -> None:
    """To fourteen digits, for odd and even degrees of freedom, on both sides."""
    t = np.linspace(-9.0, 9.0, 361)

    assert upper_tail(t, df) == pytest.approx(stats.t.sf(t, df), abs=1e-14)
