"""Limits of settling."""

import pytest
from pydantic import ValidationError

from monitor.analysis.settling.climate import JUDGED
from monitor.quantities import Quantity
from monitor.setup.settling import SettlingLimits


def test_every_quantity_that_is_judged_has_a_limit() -> None:
    """No drift is judged that has none."""
    for quantity in JUDGED:
        assert SettlingLimits().trend(quantity) > 0
    for quantity in (Quantity.TEMPERATURE, Quantity.HUMIDITY):
        assert SettlingLimits().cycle(quantity) > 0


@pytest.mark.parametrize(
    ("key", "value"),
    [("age_days", 1), ("coverage", 0), ("trend_risk", 0.7), ("saturated_from", 40), ("ages", 3)],
)
def test_nonsense_is_refused(key: str, value: float) -> None:
    """A limit that cannot be meant is refused under its key."""
    with pytest.raises(ValidationError, match=key):
        SettlingLimits.model_validate({key: value})


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"even_days": 50}, "less than even_days 50; write as many or more"),
        ({"dry_out_days": 9}, "more than recent_days 7; write as many or fewer"),
    ],
)
def test_limits_that_contradict_each_other_are_refused(given: dict[str, int], says: str) -> None:
    """With what would be right."""
    with pytest.raises(ValidationError, match=says):
        SettlingLimits.model_validate(given)
