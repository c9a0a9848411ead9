"""Rules compiled from quantities, corrections and settings."""

import pytest

from monitor.judge import Rules
from monitor.judge.rules import NEVER_MS
from monitor.quantities import MEASURED, Quantity
from monitor.setup.judging import JudgeSettings
from monitor.setup.models import Correction
from monitor.times import HOUR_MS


@pytest.mark.parametrize("quantity", MEASURED)
def test_every_measured_quantity_has_its_rule(quantity: Quantity) -> None:
    """Limits and steps are those of the table of quantities."""
    (rule,) = Rules.compiled({0: quantity}, {}, JudgeSettings()).rows
    trait = MEASURED[quantity]

    assert (rule["lowest"], rule["highest"]) == (trait.lowest, trait.highest)
    assert rule["max_step"] == trait.max_step
    assert not rule["corrected"]


def test_settings_and_corrections_find_their_series() -> None:
    """Each series gets its own correction and its quantity's thresholds."""
    settings = JudgeSettings(
        percent_slack=2, max_step={Quantity.HUMIDITY: 30}, flat_after_h=1, saturated_above=97
    )
    rules = Rules.compiled(
        {2: Quantity.HUMIDITY, 0: Quantity.TEMPERATURE}, {2: Correction(offset=1.5)}, settings
    )

    temperature, _, humidity = rules.rows
    assert (temperature["bad_below"], temperature["bad_above"]) == (-40.0, 85.0)
    assert (humidity["bad_below"], humidity["bad_above"]) == (-2.0, 102.0)
    assert (humidity["gain"], humidity["offset"], humidity["corrected"]) == (1.0, 1.5, True)
    assert (humidity["max_step"], humidity["flat_below"]) == (30.0, 97.0)
    assert (temperature["flat_after_ms"], humidity["flat_after_ms"]) == (HOUR_MS, HOUR_MS)


def test_a_series_nobody_describes_is_let_through() -> None:
    """An id between those that are set up has a row that corrects and suspects nothing."""
    gap = Rules.compiled({1: Quantity.TEMPERATURE}, {}, JudgeSettings()).rows[0]

    assert not gap["corrected"]
    assert gap["bad_below"] < -1e299
    assert gap["bad_above"] > 1e299
    assert gap["flat_after_ms"] == NEVER_MS


def test_no_series_no_rules() -> None:
    """An empty set-up compiles too."""
    assert len(Rules.compiled({}, {}, JudgeSettings()).rows) == 0
