"""Settings of alarms."""

import pytest
from pydantic import ValidationError

from monitor.quantities import Quantity
from monitor.setup.alarming import AlarmSettings
from monitor.setup.models import Spans


def test_every_quantity_that_can_have_a_range_has_a_deadband() -> None:
    """No range can be set that alarms would not know how to clear."""
    for name in Spans.model_fields:
        assert AlarmSettings().deadband(Quantity(name)) > 0


@pytest.mark.parametrize(
    ("key", "value"), [("on_delay_s", -1), ("off_delay_s", 100_000), ("deadband_humidity_pct", -2)]
)
def test_nonsense_is_refused(key: str, value: float) -> None:
    """A delay or a deadband that cannot be meant is refused under its key."""
    with pytest.raises(ValidationError, match=key):
        AlarmSettings.model_validate({key: value})
