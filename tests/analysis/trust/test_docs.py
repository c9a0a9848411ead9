"""docs/probes.md says what the code does."""

import re
from pathlib import Path

import pytest

from monitor.analysis.trust import (
    Check,
    Confidence,
    battery,
    budget,
    comparison,
    misted,
    papers,
    wetness,
)
from monitor.times import HOUR_MS, MINUTE_MS

PAGE = (Path(__file__).parents[3] / "docs" / "probes.md").read_text(encoding="utf-8")
FLAT = " ".join(PAGE.split())


def row(name: str) -> str:
    """What the table says of a check."""
    found = re.search(rf"^\| `{name}` \| (.*) \|$", PAGE, re.MULTILINE)
    assert found is not None, f"no row for {name}"
    return found[1]


@pytest.mark.parametrize("name", [*Check, *Confidence])
def test_every_check_and_confidence_has_its_row(name: str) -> None:
    """None goes unexplained."""
    assert len(row(name)) > 10


def test_thresholds_are_those_of_the_code() -> None:
    """As they stand in the rows."""
    assert f"by more than {comparison.DRIFT_RH:g} %RH against them" in row("drifts")
    assert f"more than {papers.FAST_RH:g} %RH a year" in row("drifts")
    assert f"in {misted.FEWEST} or more mistings" in row("never_saturated")
    assert f"never came to {misted.SATURATED_RH:g} %RH" in row("never_saturated")
    assert f"while it warmed by {wetness.WARMED_K:g} K" in row("soaked")
    assert (wetness.LONG_MS, wetness.VERY_LONG_MS) == (6 * HOUR_MS, 24 * HOUR_MS)
    assert f"more than {misted.SLOW_MS // MINUTE_MS} min for 63 %" in row("slow")
    assert f"{battery.LOW_PCT:g} % or less" in row("battery")
    assert comparison.DAYS_SHARE == 0.8
    assert "on four days of five" in row("disagrees")
    assert f"{budget.TEMPERATURE_K:g} K for either thermometer" in FLAT
    assert f"{100 * comparison.ZONE_SHARE:g} % within a zone" in FLAT
    assert f"{budget.AGEING_RH:g} %RH more for each year" in FLAT
    assert f"±{budget.UNCALIBRATED_RH:g} %RH." in FLAT
