"""The thresholds of judging, as a keeper writes them."""

import pytest
from pydantic import ValidationError

from monitor.quantities import Quantity
from monitor.setup.judging import JudgeSettings


def test_nothing_need_be_written() -> None:
    """The defaults: five minutes ahead, six hours and twenty readings flat, air quantities only."""
    settings = JudgeSettings()

    assert settings.future_s == 300
    assert settings.flat_after_h == 6
    assert settings.flat_readings == 20
    assert settings.flat_quantities == {Quantity.TEMPERATURE, Quantity.HUMIDITY}
    assert settings.max_step == {}


def test_quantities_are_written_by_name() -> None:
    """Steps and flat quantities take the names of the wire."""
    settings = JudgeSettings.model_validate(
        {"max_step": {"surface_temperature": 60}, "flat_quantities": ["temperature"]}
    )

    assert settings.max_step == {Quantity.SURFACE_TEMPERATURE: 60.0}
    assert settings.flat_quantities == {Quantity.TEMPERATURE}


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"max_step": {"temperature": 0}}, "temperature: 0 would suspect every change"),
        ({"max_step": {"dew_point": 5}}, "dew_point is derived and not judged; temperature, "),
        ({"flat_quantities": ["mixing_ratio"]}, "mixing_ratio is derived and not judged"),
        ({"flat_readings": 1}, "greater than or equal to 2"),
        ({"future_s": -1}, "greater than or equal to 0"),
        ({"flat_after_h": 0}, "greater than 0"),
        ({"saturated_above": 101}, "less than or equal to 100"),
        ({"flat_hours": 6}, "Extra inputs are not permitted"),
    ],
)
def test_thresholds_that_make_no_sense_are_refused(keys: dict[str, object], says: str) -> None:
    """A threshold that would suspect everything, or a name that is not judged, is a mistake."""
    with pytest.raises(ValidationError, match=says):
        JudgeSettings.model_validate(keys)
