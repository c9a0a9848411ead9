"""docs/causes.md says what the code does."""

import re
from pathlib import Path

import pytest

from monitor.analysis import forecast
from monitor.analysis.causes import CauseKind, rules

DOCS = (Path(__file__).parents[2] / "docs" / "causes.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| `([A-Z_]+)` \| ([\d.]+) \|", DOCS, re.MULTILINE)


@pytest.mark.parametrize(("name", "value"), ROWS)
def test_thresholds_are_those_of_the_code(name: str, value: str) -> None:
    """Every constant in the table has the value it is said to have."""
    assert getattr(rules, name) == float(value)


def test_the_table_of_thresholds_was_found() -> None:
    """The check above reads the rows it is meant to read."""
    assert len(ROWS) == 12


@pytest.mark.parametrize("kind", CauseKind)
def test_every_cause_is_explained(kind: CauseKind) -> None:
    """The table of causes has a row for each."""
    assert f"| `{kind}` | " in DOCS


def test_the_forecast_is_described_as_it_is() -> None:
    """Fading, suspicion and certainty have the figures of the code."""
    assert f"over {forecast.SLOW_H:.0f} hours, the rest\nover three" in DOCS
    assert forecast.FAST_H == 3.0
    assert f"more than {forecast.SUSPECT} standard deviations" in DOCS
    assert f"from {forecast.CERTAIN} on nine in ten" in DOCS
    assert forecast.MOST_RUNNING == 0.9
    assert f"within {forecast.AHEAD // forecast.PER_HOUR} hours" in DOCS
