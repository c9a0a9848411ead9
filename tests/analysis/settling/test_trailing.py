"""Looking back over recent days, and ahead if they go on as they do."""

import numpy as np
import pytest

from monitor.analysis.settling import Result
from monitor.analysis.settling.trailing import Trailing

nan = np.nan


def shares(*daily: float, window: int = 7) -> Trailing:
    """Daily shares whose mean must be nine tenths."""
    return Trailing(
        np.array(daily), window, lambda days: float(days.mean()), lambda share: share >= 0.9
    )


def test_only_the_window_counts() -> None:
    """What lies further back has no say."""
    found = shares(0.0, 0.0, *[0.95] * 7)

    assert found.value == pytest.approx(0.95)
    assert found.result is Result.PASS
    assert found.days_to_go() is None


def test_too_few_known_days_tell_nothing() -> None:
    """Five of seven days are enough, four are not."""
    assert shares(nan, nan, *[1.0] * 5).result is Result.PASS
    assert shares(nan, nan, nan, *[1.0] * 4).value is None
    assert shares(nan, nan, nan, *[1.0] * 4).result is Result.UNKNOWN


def test_it_tells_when_it_could_pass() -> None:
    """Three good days in a row after four bad ones: two more leave two of 0.6 in the window."""
    found = shares(0.6, 0.6, 0.6, 0.6, 1.0, 1.0, 1.0)

    assert found.result is Result.FAIL
    assert found.days_to_go() == 3


def test_it_does_not_promise_what_is_not_under_way() -> None:
    """If the last days are bad, time alone will not do it; one bad day among good ones may pass."""
    assert shares(*[1.0] * 4, 0.5, 0.5, 0.5).days_to_go() is None
    assert shares(*[1.0] * 6, 0.0).days_to_go() == 7
    assert shares(1.0, nan, nan, nan).days_to_go() is None
    assert shares().days_to_go() is None


def test_a_relapse_has_failed_on_each_of_the_days() -> None:
    """Two days that fail are no relapse, three are; unknown days are none."""
    good = [1.0] * 7
    assert not shares(*good, 0.0, 0.5).is_relapse(3)
    assert shares(*good, 0.0, 0.5, 0.5).is_relapse(3)
    assert not shares(0.0, 0.0).is_relapse(3)
